// Requests to the workbench. What is refused comes as a Fault with the words of the command line.

export class Fault extends Error {
  constructor(values, status) {
    super(values.text || values.what);
    this.values = values;
    this.status = status;
  }
}

async function answer(response) {
  if (response.ok) return response;
  let values = { kind: "Fault", what: `The workbench answered with ${response.status}.`, place: "", remedy: "", all: [] };
  try { values = (await response.json()).error || values; } catch { /* no words came */ }
  throw new Fault(values, response.status);
}

async function send(address, options, again = true) {
  try {
    return await answer(await fetch(address, { credentials: "same-origin", ...options }));
  } catch (error) {
    if (error instanceof Fault || error.name === "AbortError") throw error;
    // A connection to a workbench that was started again since. What was written is not written
    // twice: the version of the study would be another.
    if (again) { await new Promise((go) => setTimeout(go, 400)); return send(address, options, false); }
    throw new Fault({ kind: "Fault", what: "The workbench does not answer.", place: "",
      remedy: "Start it again with “drypoint serve”; nothing that was decided is lost.", all: [] }, 0);
  }
}

export const get = async (address, options) => (await send(address, options)).json();
export const post = async (address, body) =>
  (await send(address, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) })).json();

// A file as it is; onPart hears how much of it has gone (0 to 1).
export function put(address, file, onPart) {
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest();
    request.open("PUT", address);
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.addEventListener("progress", (e) => e.lengthComputable && onPart?.(e.loaded / e.total));
    request.addEventListener("load", () => {
      let values = {};
      try { values = JSON.parse(request.responseText); } catch { /* below */ }
      if (request.status < 300) done(values);
      else fail(new Fault(values.error || { what: `The workbench answered with ${request.status}.`, place: "", remedy: "", all: [] }, request.status));
    });
    request.addEventListener("error", () => fail(new Fault({ what: "The file could not be sent.", place: file.name, remedy: "Is the workbench still running?", all: [] }, 0)));
    request.send(file);
  });
}

// Arrays and values of a buffer (see buffers.py).
export async function getBuffer(address, options) {
  const data = await (await send(address, options)).arrayBuffer();
  const size = new DataView(data).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, size)));
  const arrays = {};
  for (const [name, p] of Object.entries(head.arrays)) {
    const Kind = p.type === "i4" ? Int32Array : Float32Array;
    arrays[name] = new Kind(data, 4 + size + p.start, p.length);
  }
  return { ...head, arrays };
}

export const query = (values) => new URLSearchParams(
  Object.entries(values).filter(([, v]) => v !== undefined && v !== null && v !== "")).toString();
