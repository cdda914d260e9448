// Sends a photo with progress; when the connection breaks, the form and the photo stay as they are.
import { hold } from "./hold.js";

export function send(form, body, { onProgress }) {
  const request = new XMLHttpRequest();
  const done = new Promise((resolve, reject) => {
    request.upload.addEventListener("progress", (event) => event.lengthComputable && onProgress(event.loaded / event.total));
    request.addEventListener("load", () => {
      if (request.status < 400) resolve(request);
      else reject(new Error(detailOf(request)));
    });
    request.addEventListener("error", () => reject(new Error("The connection was lost while sending. Everything is still here: try again.")));
    request.addEventListener("abort", () => reject(new Error("Cancelled.")));
  });
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/problem+json, text/html;q=0.5");
  request.send(body);
  return { done, cancel: () => request.abort() };
}

function detailOf(request) {
  try {
    return JSON.parse(request.responseText).detail;
  } catch {
    return `The service answered with ${request.status}. Everything is still here: try again.`;
  }
}

function inputs(form) {
  return [...form.querySelectorAll("input[type=file]")];
}

function tell(place, text) {
  place.innerHTML = '<div class="fault" role="alert"><p></p></div>';
  place.querySelector("p").textContent = text;
}

function watch(form) {
  const place = form.querySelector(".progress");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!inputs(form).some((input) => input.files.length)) return tell(place, "No photo was chosen yet: take one or choose one, then send it.");
    const button = form.querySelector("button");
    button.disabled = true;
    place.innerHTML = '<p></p><progress max="1" value="0" aria-label="Sending"></progress>';
    const [words, bar] = place.children;
    words.textContent = "Sending the photo …";
    const onProgress = (share) => {
      bar.value = share;
      if (share < 1) return;
      words.textContent = "Measuring …";
      bar.removeAttribute("value");
    };
    try {
      const request = await send(form, new FormData(form), { onProgress }).done;
      form.dispatchEvent(new Event("sent"));
      location.assign(request.responseURL);
    } catch (fault) {
      tell(place, fault.message);
      button.disabled = false;
    }
  });
}

for (const form of document.querySelectorAll("form[data-upload]")) {
  watch(form);
  for (const input of inputs(form)) hold(form, input).catch(() => {}); // a browser that stores nothing for sites: then a reload asks anew
}
