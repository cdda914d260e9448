// Keeps what was typed but not yet sent, so that a reload or the back button loses nothing.
const SENDING = "sending";
const forms = document.querySelectorAll("form[data-keep]");
document.documentElement.dataset.script = "on";

function keyOf(form) {
  return `kept:${location.pathname}${location.search}:${[...forms].indexOf(form)}`;
}

function controls(form) {
  // A reading's hidden unit belongs to what was typed; other hidden fields are the server's.
  return [...form.elements].filter((control) =>
    control.name && !["file", "submit"].includes(control.type) && (control.type !== "hidden" || control.name.endsWith(":unit")));
}

function keep(form) {
  const said = controls(form).map((control) =>
    ["radio", "checkbox"].includes(control.type) ? control.checked : control.value);
  sessionStorage.setItem(keyOf(form), JSON.stringify(said));
}

function isTouched(control) {
  if (["radio", "checkbox"].includes(control.type)) return control.checked !== control.defaultChecked;
  if (!control.options) return control.value !== control.defaultValue;
  const options = [...control.options];
  return control.selectedIndex !== Math.max(0, options.findIndex((option) => option.defaultSelected));
}

function bringBack(form) {
  const kept = sessionStorage.getItem(keyOf(form));
  if (!kept) return;
  const said = JSON.parse(kept);
  const fields = controls(form);
  if (said.length !== fields.length) return; // the form has changed since
  fields.forEach((control, at) => {
    if (["radio", "checkbox"].includes(control.type)) control.checked = said[at];
    else if (control.type !== "hidden" || form.elements[control.name.slice(0, -5)].value) control.value = said[at];
    if (control.type === "hidden") control.previousElementSibling.textContent = control.value;
  });
  for (const fold of form.querySelectorAll("details")) {
    // What came back must be in sight.
    fold.open ||= fields.some((control) => fold.contains(control) && control.type !== "hidden"
      && (control.type === "radio" ? control.checked && control.value : control.value && control.type !== "select-one"));
  }
}

// This page came from the form's own page and was not gone back to: it is the server's answer, whose word counts from
// here on. Where the connection broke no such page came, and what was typed is still kept.
const sent = sessionStorage.getItem(SENDING);
const goneBack = performance.getEntriesByType("navigation")[0]?.type === "back_forward";
if (sent && sent.startsWith(`kept:${from()}:`) && !goneBack) {
  sessionStorage.removeItem(sent);
  sessionStorage.removeItem(SENDING);
}

function from() {
  const address = document.referrer && new URL(document.referrer);
  return address && address.pathname + address.search;
}

for (const form of forms) {
  if (!goneBack && controls(form).some(isTouched)) keep(form); // filled in before this script came
  bringBack(form);
  form.addEventListener("input", () => keep(form));
  // Forms that a script sends say with "sent" that they arrived.
  form.addEventListener("submit", () => form.hasAttribute("data-upload") || form.hasAttribute("data-bench") || sessionStorage.setItem(SENDING, keyOf(form)));
  form.addEventListener("sent", () => sessionStorage.removeItem(keyOf(form)));
}

for (const button of document.querySelectorAll("[data-print]")) button.addEventListener("click", () => window.print());
for (const button of document.querySelectorAll("[data-copy]")) {
  button.addEventListener("click", async () => {
    const text = document.getElementById(button.dataset.copy);
    text.select();
    try {
      await navigator.clipboard.writeText(text.value);
      button.textContent = "Copied";
    } catch {
      button.textContent = "Selected: copy it with your keyboard"; // no clipboard without a secure connection
    }
  });
}
