// Many photos, one after the other, each with its progress; what is not sent yet can be cancelled or tried again.
import { send } from "./upload.js";

const form = document.querySelector("[data-bench]");
const queue = document.getElementById("queue");

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const files = [...form.elements.photo.files];
  form.querySelector("button").disabled = true;
  const entries = files.map(entryOf);
  const all = cancelAll(entries);
  for (const entry of entries) await sendOne(entry);
  form.querySelector("button").disabled = false;
  all.remove();
  const left = entries.filter((entry) => !entry.sent);
  if (left.length) return;
  form.elements.photo.value = "";
  form.dispatchEvent(new Event("sent"));
  queue.replaceChildren();
});

function entryOf(file) {
  const row = document.createElement("div");
  row.className = "plate queue";
  row.innerHTML = '<p></p><progress max="1" value="0"></progress><div class="actions"><button type="button" class="button second">Cancel</button></div>';
  const [words, bar, actions] = row.children;
  words.textContent = `${file.name}: waiting`;
  bar.setAttribute("aria-label", file.name);
  const entry = { file, row, words, bar, button: actions.firstChild, sent: false, dropped: false, cancel: null };
  entry.button.addEventListener("click", () => (entry.cancel ? entry.cancel() : drop(entry)));
  queue.append(row);
  return entry;
}

function cancelAll(entries) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button second";
  button.textContent = "Cancel all";
  // Those that wait go first, so that none of them starts when the one on its way is cancelled.
  button.addEventListener("click", () => entries.filter((entry) => !entry.sent).reverse().forEach((entry) => entry.button.click()));
  queue.prepend(button);
  return button;
}

function drop(entry) {
  entry.dropped = true;
  entry.sent = true;
  entry.words.textContent = `${entry.file.name}: cancelled`;
  entry.bar.remove();
  entry.button.remove();
}

async function sendOne(entry) {
  if (entry.dropped) return;
  const body = new FormData(form);
  body.delete("photo");
  body.append("photo", entry.file);
  const onProgress = (share) => {
    entry.bar.value = share;
    entry.words.textContent = `${entry.file.name}: ${share < 1 ? "sending" : "measuring"}`;
    if (share >= 1) entry.bar.removeAttribute("value");
  };
  const { done, cancel } = send(form, body, { onProgress });
  entry.cancel = cancel;
  try {
    showRows(await done);
    entry.sent = true;
    entry.row.remove();
  } catch (fault) {
    if (fault.message === "Cancelled.") drop(entry);
    else failed(entry, fault);
  }
}

function failed(entry, fault) {
  entry.words.textContent = `${entry.file.name}: ${fault.message}`;
  entry.row.className = "fault queue";
  entry.button.textContent = "Try again";
  entry.cancel = async () => {
    entry.row.className = "plate queue";
    entry.button.textContent = "Cancel";
    await sendOne(entry);
  };
}

// The answer is the bench's own page: take its rows and, after the first photo, its address.
function showRows(request) {
  const page = new DOMParser().parseFromString(request.responseText, "text/html");
  document.getElementById("rows").replaceWith(page.getElementById("rows"));
  const address = new URL(request.responseURL).pathname;
  if (location.pathname !== address) history.replaceState(null, "", address);
  form.action = address;
}
