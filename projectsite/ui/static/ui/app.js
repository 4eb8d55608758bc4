// Manners of every page, driven by attributes. Pages work without this file.

const live = () => document.getElementById("live");

/** Speak a sentence to screen readers. */
export function announce(words) {
  const region = live();
  if (!region || !words) return;
  region.textContent = "";
  // A second identical sentence is only spoken when the region was empty in between.
  setTimeout(() => { region.textContent = words.replace(/\s+/g, " ").trim(); }, 50);
}

/** Boxes from one to another in order, both included, whichever comes first. */
export function between(boxes, from, to) {
  const [a, b] = [boxes.indexOf(from), boxes.indexOf(to)].sort((x, y) => x - y);
  return a < 0 ? [] : boxes.slice(a, b + 1);
}

/** The control after this one that takes typing, or null at the last. */
export function nextControl(controls, current) {
  const usable = controls.filter((c) => !c.disabled && !c.readOnly && c.type !== "hidden" && !["submit", "button", "reset"].includes(c.type));
  const at = usable.indexOf(current);
  return at < 0 ? null : usable[at + 1] ?? null;
}

// --- sending once -----------------------------------------------------------
function hold(form) {
  form.dataset.sending = "yes";
  for (const button of form.querySelectorAll('button[type="submit"]')) button.setAttribute("aria-disabled", "true");
}
function release(form) {
  delete form.dataset.sending;
  for (const button of form.querySelectorAll('button[type="submit"]')) button.removeAttribute("aria-disabled");
}

// --- asking first -----------------------------------------------------------
function ask(words) {
  const dialog = document.getElementById("ask");
  if (!dialog?.showModal) return Promise.resolve(true);
  dialog.querySelector("#ask-words").textContent = words;
  return new Promise((resolve) => {
    const answer = (event) => {
      const choice = event.target.closest?.("[data-answer]")?.dataset.answer;
      if (event.type === "click" && !choice) return;
      dialog.removeEventListener("click", answer);
      dialog.removeEventListener("close", answer);
      if (dialog.open) dialog.close();
      resolve(choice === "yes");
    };
    dialog.addEventListener("click", answer);
    dialog.addEventListener("close", answer);
    dialog.showModal();
    // The safe answer is the one under the Enter key.
    dialog.querySelector('[data-answer="no"]').focus();
  });
}

function afterSaving(form, then) {
  if (!form.classList.contains("htmx-request")) return then();
  form.addEventListener("htmx:afterRequest", () => setTimeout(() => afterSaving(form, then)), { once: true });
}

function onSubmit(event) {
  const form = event.target;
  const words = event.submitter?.dataset.confirm ?? form.dataset.confirm;
  if (words && form.dataset.agreed !== "yes") {
    event.preventDefault();
    event.stopPropagation();
    ask(words).then((agreed) => {
      if (!agreed) return;
      form.dataset.agreed = "yes";
      form.requestSubmit(event.submitter ?? undefined);
      delete form.dataset.agreed;
    });
    return;
  }
  if (form.method !== "post" || form.method === "dialog") return;
  if (form.dataset.sending === "yes") {
    event.preventDefault();
    event.stopPropagation();
    return;
  }
  if (form.classList.contains("htmx-request")) {
    // A save as typed is under way; it brings the version that the button must send.
    event.preventDefault();
    event.stopPropagation();
    afterSaving(form, () => form.requestSubmit(event.submitter ?? undefined));
    return;
  }
  delete form.dataset.changed;
  // After this event, so that the button's own name and value are still sent.
  setTimeout(() => { if (!event.defaultPrevented || form.hasAttribute("hx-post")) hold(form); });
}

// --- typing on while a save is under way ------------------------------------
/** Ids and values of the controls that hold something else than what was sent. */
export function typedSince(sent, controls) {
  return controls.filter((c) => c.id && sent.has(c.id) && sent.get(c.id) !== c.value).map((c) => [c.id, c.value]);
}
const sentValues = new Map();
const typedOn = new Map();
const typingControls = (form) => [...form.elements].filter((c) => c.id && c.matches("input:not([type=hidden], [type=file], [type=checkbox], [type=radio]), textarea"));

function onBeforeRequest(event) {
  const form = event.target.closest?.("form[data-keep-typing]");
  if (form) sentValues.set(form.id, new Map(typingControls(form).map((c) => [c.id, c.value])));
}
function onBeforeSwap(event) {
  for (const form of event.detail.target.querySelectorAll?.("form[data-keep-typing]") ?? []) {
    const sent = sentValues.get(form.id);
    if (sent) for (const [id, value] of typedSince(sent, typingControls(form))) typedOn.set(id, value);
    sentValues.delete(form.id);
  }
}
function putBack(root) {
  for (const [id, value] of typedOn) {
    const control = document.getElementById(id);
    // Another form's answer may settle first: what came with this one is not ready before its own.
    if (!control || !root.contains(control)) continue;
    typedOn.delete(id);
    control.value = value;
    const save = () => control.dispatchEvent(new Event("change", { bubbles: true }));
    // The browser tells of no change that a script made, so leaving the field has to.
    if (document.activeElement === control) control.addEventListener("blur", save, { once: true });
    else save();
  }
}

// --- choosing rows ----------------------------------------------------------
const boxesNamed = (name) => [...document.querySelectorAll(`input[type="checkbox"][name="${CSS.escape(name)}"]`)];
let lastBox = null;

function countChosen(name) {
  const boxes = boxesNamed(name);
  const chosen = boxes.filter((box) => box.checked).length;
  for (const all of document.querySelectorAll(`[data-select-all="${CSS.escape(name)}"]`)) {
    all.checked = chosen > 0 && chosen === boxes.length;
    all.indeterminate = chosen > 0 && chosen < boxes.length;
  }
  for (const bar of document.querySelectorAll(`[data-bulk="${CSS.escape(name)}"]`)) {
    bar.hidden = chosen === 0;
    const shown = bar.querySelector("[data-chosen]");
    if (shown) shown.textContent = `${chosen} chosen`;
  }
}

function onChange(event) {
  const control = event.target;
  const all = control.dataset?.selectAll;
  if (all) {
    for (const box of boxesNamed(all)) box.checked = control.checked;
    countChosen(all);
  } else if (control.type === "checkbox" && control.closest("td.sel")) {
    countChosen(control.name);
  }
  const form = control.form;
  if (form?.hasAttribute("data-guard")) form.dataset.changed = "yes";
  if (form?.hasAttribute("data-auto-submit") && control.type !== "search" && control.type !== "text") form.requestSubmit();
}

let typing = 0;
function onInput(event) {
  const control = event.target;
  if (control.form?.hasAttribute("data-auto-submit") && control.form.hasAttribute("hx-get")) return;
  if (control.type !== "search" || !control.form?.hasAttribute("data-auto-submit")) return;
  clearTimeout(typing);
  typing = setTimeout(() => {
    sessionStorage.setItem("typing-in", control.name);
    control.form.requestSubmit();
  }, 600);
}

// --- pressing ---------------------------------------------------------------
async function onClick(event) {
  const box = event.target.closest?.('td.sel input[type="checkbox"]');
  if (box) {
    if (event.shiftKey && lastBox && lastBox !== box) {
      for (const other of between(boxesNamed(box.name), lastBox, box)) other.checked = box.checked;
      countChosen(box.name);
    }
    lastBox = box;
    return;
  }
  const button = event.target.closest?.("[data-dialog], [data-close], [data-copy], [data-copy-from], [data-print]");
  if (!button) {
    if (event.target instanceof HTMLDialogElement && event.target.id !== "ask" && outside(event)) event.target.close();
    return;
  }
  if (button.dataset.dialog) document.getElementById(button.dataset.dialog)?.showModal();
  if ("close" in button.dataset) button.closest("dialog")?.close();
  if ("print" in button.dataset) window.print();
  if (button.dataset.copy || button.dataset.copyFrom) {
    const words = button.dataset.copy ?? document.querySelector(button.dataset.copyFrom)?.textContent?.trim() ?? "";
    try {
      await navigator.clipboard.writeText(words);
      announce("Copied.");
    } catch {
      announce("The browser does not allow copying here. Select the text and copy it by hand.");
    }
  }
}
function outside(event) {
  const edge = event.target.getBoundingClientRect();
  return event.clientX < edge.left || event.clientX > edge.right || event.clientY < edge.top || event.clientY > edge.bottom;
}

function onKey(event) {
  const target = event.target;
  if (event.key === "/" && !event.ctrlKey && !event.metaKey && !target.closest("input:not([type=checkbox], [type=radio]), textarea, select, [contenteditable]")) {
    const search = document.querySelector('[data-search], input[type="search"]');
    if (search) { event.preventDefault(); search.focus(); search.select(); }
  }
  if (event.key === "Escape") for (const menu of document.querySelectorAll("details.menu[open]")) {
    menu.open = false;
    if (menu.contains(target)) menu.querySelector("summary").focus();
  }
  if (event.key === "Enter" && target.matches?.("input:not([type=checkbox], [type=radio], [type=submit], [type=search])") && target.form?.hasAttribute("data-enter-next")) {
    const next = nextControl([...target.form.elements], target);
    if (next) { event.preventDefault(); next.focus(); next.select?.(); }
  }
  if ((event.key === "ArrowDown" || event.key === "ArrowUp") && target.closest?.("[data-rows] tbody") && target.matches("a, input[type=checkbox], button")) {
    const cell = target.closest("td, th");
    const row = event.key === "ArrowDown" ? cell.parentElement.nextElementSibling : cell.parentElement.previousElementSibling;
    const next = row?.cells[cell.cellIndex]?.querySelector("a, input[type=checkbox], button");
    if (next) { event.preventDefault(); next.focus(); }
  }
}

/** On a phone a long row of filters waits behind a button, so that the list itself comes first. */
function fold(form) {
  const isNarrow = window.matchMedia("(max-width: 43.99rem)").matches;
  if (!isNarrow || form.querySelectorAll("label").length < 3 || form.querySelector(".actions a, .wrong")) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "btn quiet fold";
  button.textContent = "Search and filter";
  button.setAttribute("aria-expanded", "false");
  button.addEventListener("click", () => {
    button.remove();
    form.hidden = false;
    form.querySelector("input:not([type=hidden]), select")?.focus();
  });
  form.before(button);
  form.hidden = true;
}

function ready(root) {
  for (const bar of root.querySelectorAll("[data-bulk]")) countChosen(bar.dataset.bulk);
  const summary = root.querySelector("[data-focus]");
  if (summary) summary.focus();
  const name = sessionStorage.getItem("typing-in");
  if (name && root === document) {
    sessionStorage.removeItem("typing-in");
    const field = document.querySelector(`[data-auto-submit] [name="${CSS.escape(name)}"]`);
    field?.focus();
    field?.setSelectionRange?.(field.value.length, field.value.length);
  }
}

if (typeof document !== "undefined") {
  document.addEventListener("submit", onSubmit, true);
  document.addEventListener("change", onChange);
  document.addEventListener("input", onInput);
  document.addEventListener("click", onClick);
  document.addEventListener("keydown", onKey);
  document.addEventListener("click", (event) => {
    for (const menu of document.querySelectorAll("details.menu[open]")) if (!menu.contains(event.target)) menu.open = false;
  });
  window.addEventListener("beforeunload", (event) => {
    if (document.querySelector('form[data-guard][data-changed="yes"]')) event.preventDefault();
  });
  // Coming back by the browser's own button shows the page as it was left: let it be sent again.
  window.addEventListener("pageshow", () => document.querySelectorAll("form[data-sending]").forEach(release));
  document.addEventListener("htmx:afterRequest", (event) => {
    const form = event.target.closest?.("form");
    if (form) release(form);
  });
  document.addEventListener("htmx:beforeRequest", onBeforeRequest);
  document.addEventListener("htmx:beforeSwap", onBeforeSwap);
  document.addEventListener("htmx:afterSettle", (event) => {
    putBack(event.target);
    const target = event.detail.target ?? event.target;
    ready(target);
    const spoken = target.matches?.("[data-announce]") ? target : target.querySelector?.("[data-announce]");
    if (spoken) announce(spoken.textContent);
  });
  document.addEventListener("htmx:responseError", (event) => {
    announce(`That did not work (answer ${event.detail.xhr.status}). Load the page again and try once more.`);
  });
  document.querySelectorAll("form.filters").forEach(fold);
  document.addEventListener("htmx:sendError", () => announce("No connection to the server. Nothing was sent."));
  ready(document);
}
