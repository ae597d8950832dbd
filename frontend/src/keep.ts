// What is typed into a long form is kept in this browser until it has been stored: a reload, a lost connection or a
// closed lid loses nothing.

const PREFIX = "halfsplit-form-";
interface Kept { fields: [string, string][]; sent: boolean; job: string }

/** Keeps every form with `data-keep`, puts back what was left, and forgets what has been stored. */
export function keepForms(root: Document): void {
  forgetStored(root);
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-keep]")) {
    const key = PREFIX + (form.dataset["keep"] ?? "");
    if (!form.querySelector("[aria-invalid]")) putBack(root, form, key);
    form.addEventListener("input", () => write(form, key, false));
    form.addEventListener("submit", () => write(form, key, true));
  }
}

function write(form: HTMLFormElement, key: string, sent: boolean): void {
  const fields = [...new FormData(form)].filter((pair): pair is [string, string] => typeof pair[1] === "string" && pair[0] !== "csrf");
  const job = new Map(fields).get("job_id") ?? form.action.match(/\/jobs\/([^/]+)/)?.[1] ?? "";
  try {
    localStorage.setItem(key, JSON.stringify({ fields, sent, job } satisfies Kept));
  } catch {
    // No room: the form still works, it is only not kept.
  }
}

function read(key: string): Kept | null {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "null") as Kept | null;
  } catch {
    return null;
  }
}

/** A form that was sent is stored once a page of its job is shown that is not the form again. */
function forgetStored(root: Document): void {
  for (const key of Object.keys(localStorage).filter((name) => name.startsWith(PREFIX))) {
    const kept = read(key);
    const here = root.location.pathname.includes(`/jobs/${kept?.job}`);
    const again = root.querySelector(`form[data-keep="${CSS.escape(key.slice(PREFIX.length))}"]`);
    if (kept?.sent && here && !again) localStorage.removeItem(key);
  }
}

function putBack(root: Document, form: HTMLFormElement, key: string): void {
  const kept = read(key);
  if (!kept) return;
  const values = new Map(kept.fields);
  let changed = false;
  for (const field of form.elements) {
    if (!(field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement || field instanceof HTMLSelectElement)) continue;
    const value = values.get(field.name);
    if (field instanceof HTMLInputElement && (field.type === "checkbox" || field.type === "radio")) {
      field.checked = value === field.value;
    } else if (value !== undefined && field.name !== "csrf" && field.name !== "based_on") {
      changed ||= field.type !== "hidden" && value !== field.value;
      field.value = value;
    }
  }
  if (changed) offerFresh(root, form, key);
}

function offerFresh(root: Document, form: HTMLFormElement, key: string): void {
  const note = root.createElement("p");
  note.className = "note doubt";
  note.append("What you typed before is back. ");
  const fresh = root.createElement("button");
  fresh.type = "button";
  fresh.textContent = "Begin afresh";
  fresh.addEventListener("click", () => { localStorage.removeItem(key); root.location.reload(); });
  note.append(fresh);
  form.prepend(note);
}
