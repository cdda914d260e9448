// Handles on the photo: drag one, or move it with the arrow keys, and the fit follows at once.
const PAUSE_MS = 350;
let waiting = 0;
let asked = 0;
let large = false; // stays when the page is drawn again

function setUp() {
  const svg = document.querySelector("[data-handles]");
  if (!svg) return;
  enlarge(svg, large);
  document.querySelector("[data-enlarge]")?.addEventListener("click", () => {
    enlarge(svg, !large);
    const pan = svg.parentElement;
    pan.scrollTo((pan.scrollWidth - pan.clientWidth) / 2, (pan.scrollHeight - pan.clientHeight) / 2);
  });
  for (const handle of svg.querySelectorAll(".handle")) {
    handle.setAttribute("tabindex", "0");
    handle.setAttribute("role", "button");
    handle.setAttribute("aria-label", `${handle.dataset.words}; arrow keys move it`);
    handle.addEventListener("pointerdown", (event) => drag(event, svg, handle));
    handle.addEventListener("keydown", (event) => nudge(event, svg, handle));
  }
}

// Corners of a small thing lie close together: larger, each can be taken hold of by itself.
function enlarge(svg, wanted) {
  large = wanted;
  svg.closest(".picture").classList.toggle("large", large);
  const button = document.querySelector("[data-enlarge]");
  if (button) {
    button.setAttribute("aria-pressed", String(large));
    button.textContent = large ? "Show the whole photo" : "Enlarge the photo";
  }
  const px = 1 / svg.getScreenCTM().a; // one px of the screen, however large the photo
  for (const handle of svg.querySelectorAll(".handle")) {
    handle.setAttribute("r", 22 * px);
    handle.nextElementSibling.setAttribute("r", 6 * px);
  }
}

function drag(event, svg, handle) {
  event.preventDefault();
  handle.focus({ preventScroll: true });
  handle.setPointerCapture(event.pointerId);
  const loupe = openLoupe(svg);
  const move = (moved) => {
    const at = new DOMPoint(moved.clientX, moved.clientY).matrixTransform(svg.getScreenCTM().inverse());
    place(handle, at.x, at.y);
    loupe.show(at.x, at.y);
  };
  const end = () => {
    handle.removeEventListener("pointermove", move);
    loupe.close();
    fitSoon(svg, handle);
  };
  handle.addEventListener("pointermove", move);
  handle.addEventListener("pointerup", end, { once: true });
  handle.addEventListener("pointercancel", end, { once: true });
}

function nudge(event, svg, handle) {
  const step = (event.shiftKey ? 10 : 1) / svg.getScreenCTM().a;
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!way) return;
  event.preventDefault();
  place(handle, handle.cx.baseVal.value + way[0] * step, handle.cy.baseVal.value + way[1] * step);
  fitSoon(svg, handle);
}

function place(handle, x, y) {
  for (const circle of [handle, handle.nextElementSibling]) {
    circle.setAttribute("cx", x.toFixed(1));
    circle.setAttribute("cy", y.toFixed(1));
  }
}

// A finger hides what it drags: show it enlarged in the corner.
function openLoupe(svg) {
  const box = document.createElement("div");
  box.className = "loupe";
  const image = svg.querySelector("image").outerHTML;
  box.innerHTML = `<svg>${image}<path class="cross"/></svg>`;
  svg.closest(".picture").append(box);
  const inner = box.querySelector("svg");
  const half = svg.viewBox.baseVal.width / 24;
  return {
    show(x, y) {
      inner.setAttribute("viewBox", `${x - half} ${y - half} ${2 * half} ${2 * half}`);
      box.querySelector(".cross").setAttribute("d", `M${x - half} ${y}h${2 * half}M${x} ${y - half}v${2 * half}`);
      box.classList.toggle("right", x < svg.viewBox.baseVal.width / 2);
    },
    close: () => box.remove(),
  };
}

function fitSoon(svg, handle) {
  clearTimeout(waiting);
  waiting = setTimeout(() => fit(svg, handle.dataset), PAUSE_MS);
}

// The photo waits on the server, so only the points travel; the answer is this page, drawn again.
async function fit(svg, { kind, words }) {
  const form = document.getElementById("again");
  const points = [...svg.querySelectorAll(`.handle.${kind}`)].map((h) => `${h.getAttribute("cx")},${h.getAttribute("cy")}`);
  form.elements[kind === "rim" ? "rim" : "reference_points"].value = points.join(" ");
  const turn = ++asked;
  svg.closest(".picture").classList.add("busy-now");
  try {
    const answer = await fetch(location.pathname, { method: "POST", body: new FormData(form) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (turn !== asked) return; // a later move is on its way
    if (!page.getElementById("fit")) throw new Error();
    const { scrollLeft, scrollTop } = document.querySelector(".pan");
    for (const part of ["#fit", "aside"]) document.querySelector(part).replaceWith(page.querySelector(part));
    setUp();
    document.querySelector(".pan")?.scrollTo(scrollLeft, scrollTop);
    [...document.querySelectorAll(".handle")].find((h) => h.dataset.words === words)?.focus({ preventScroll: true });
  } catch {
    svg.closest(".picture").classList.remove("busy-now");
    alertIn(svg, "The fit could not be asked for: the connection was lost. The handles are still where you put them; move one to try again.");
  }
}

function alertIn(svg, text) {
  const note = document.createElement("p");
  note.className = "fault";
  note.setAttribute("role", "alert");
  note.textContent = text;
  document.querySelectorAll("#fit > p.fault").forEach((old) => old.remove());
  svg.closest(".picture").after(note);
}

setUp();
