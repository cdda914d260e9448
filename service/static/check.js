// Catches an impossible reading while it is typed. The server checks the same again.
const MM = { mm: 1, cm: 10, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, "″": 25.4 };
const LENGTH = /^(?:(\d+(?:[.,]\d+)?)(?:\s+(\d+)\s*\/\s*(\d+))?|(\d+)\s*\/\s*(\d+))\s*(mm|cm|in|inch|inches|″|")?$/i;

function toMm(text, unit) {
  const match = LENGTH.exec(text.trim());
  if (!match) return NaN;
  const whole = parseFloat((match[1] ?? "0").replace(",", "."));
  const part = match[2] ? match[2] / match[3] : match[4] ? match[4] / match[5] : 0;
  return (whole + part) * MM[(match[6] ?? unit).toLowerCase()];
}

function show(number, kind, unit) {
  if (kind !== "length") return `${number}${{ mass: " kg", inches: " in" }[kind] ?? ""}`;
  if (unit === "mm") return `${Number(number.toFixed(1))} mm`;
  return `${(number / 25.4).toFixed(3)} in`;
}

function faultOf(input, text) {
  const kind = input.dataset.kind;
  const unit = input.form.elements[`${input.name}:unit`]?.value ?? "mm";
  const number = kind === "length" ? toMm(text, unit) : Number(text.replace(",", "."));
  if (Number.isNaN(number)) {
    return kind === "length" ? `“${text}” is no length; write it like 330, 23.2 mm, 13 in or 12 63/64 in` : `“${text}” is no number`;
  }
  const low = Number(input.dataset.low), high = Number(input.dataset.high);
  if (!input.dataset.low || (low <= number && number <= high)) return "";
  const other = unit === "mm" ? "in" : "mm";
  const asOther = kind === "length" && /^[\d.,]+$/.test(text) ? toMm(text, other) : NaN;
  const hint = low <= asOther && asOther <= high ? ` Is it ${text} ${other}? Then write the unit with it.` : "";
  return `${show(number, kind, unit)} can't be right: ${show(low, kind, unit)} to ${show(high, kind, unit)} is plausible here.${hint}`;
}

function check(input) {
  const texts = input.name.endsWith(".thickness_mm") ? input.value.split(";") : [input.value];
  const fault = input.value.trim() ? texts.map((text) => faultOf(input, text.trim())).find(Boolean) ?? "" : "";
  document.getElementById(`${input.id}-fault`).textContent = fault;
  input.closest(".field").classList.toggle("wrong", Boolean(fault));
  input.setAttribute("aria-invalid", String(Boolean(fault)));
  return !fault;
}

for (const form of document.querySelectorAll("form")) {
  const inputs = [...form.querySelectorAll("input[data-kind]")];
  for (const input of inputs) input.addEventListener("change", () => {
    // A value typed anew is in the unit on show now.
    const unit = form.elements[`${input.name}:unit`];
    if (unit) { unit.value = document.documentElement.dataset.unit; unit.previousElementSibling.textContent = unit.value; }
    check(input);
  });
  form.addEventListener("submit", (event) => {
    const wrong = inputs.filter((input) => !check(input));
    if (!wrong.length) return;
    event.preventDefault();
    event.stopImmediatePropagation(); // the form stays kept
    wrong[0].focus();
  }, true);
}
