// Holds a chosen photo in this browser until it is sent: phones short of memory reload the page behind the camera.
const STORE = "chosen";

function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open("whichrotor", 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE);
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function act(mode, what) {
  const base = await open();
  try {
    return await new Promise((resolve, reject) => {
      const request = what(base.transaction(STORE, mode).objectStore(STORE));
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  } finally {
    base.close();
  }
}

export async function hold(form, input) {
  const key = `${location.pathname}${location.search}#${input.name}`;
  const forget = () => act("readwrite", (store) => store.delete(key));
  const keep = async () => {
    if (!input.files.length) return forget();
    await act("readwrite", (store) => store.put(input.files[0], key));
    input.dataset.held = input.files[0].name;
  };
  input.addEventListener("change", keep);
  form.addEventListener("sent", forget);
  if (input.files.length) return keep(); // chosen before this script came
  const file = await act("readonly", (store) => store.get(key));
  if (!file || input.files.length) return;
  const carrier = new DataTransfer();
  carrier.items.add(file);
  input.files = carrier.files;
  input.dataset.held = file.name;
}
