// One part of the book on the screen: a form with its live card, or a card alone.
// Values travel as messages with a number; "saved" is shown only when Python has answered so.

const SLOTS = ["head", "found", "plots", "entered"];
const SLOW = 6000; // ms without an answer before the form shows it
// On the page there are no cells to run: it is loaded again.
const onPage = () => document.body.dataset.voila !== undefined;
const anew = () => (onPage() ? "reload the page" : "run all cells again");
const restarted = () => `${onPage() ? "startkit" : "the notebook's kernel"} was restarted: ${anew()}`;
const noAnswer = () => `no answer from ${onPage() ? "startkit" : "the notebook"}: it is busy or was restarted (then ${anew()})`;
const REASONS = ["typing error", "misread", "measured again", "corrected, as left"];


// --- small pieces ----------------------------------------------------------------------------

/** An element from a name, properties and children; texts never become markup. */
function el(name, props = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "value") node.value = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

function button(words, onclick, props = {}) {
  return el("button", { type: "button", onclick, ...props }, words);
}

/** A list to choose from; a value that is not among the choices is kept as it is. */
function chooser(choices, props, blank = "") {
  const node = el("select", props);
  if (blank !== null) node.append(el("option", { value: "" }, blank));
  for (const choice of choices) node.append(el("option", { value: choice }, choice));
  return node;
}

function choose(select, typed) {
  // A spreadsheet capitalises by itself: the choice is meant all the same.
  const options = [...select.options].map((option) => option.value);
  const value = options.includes(typed) ? typed : options.find((option) => option.toLowerCase() === typed.trim().toLowerCase()) ?? typed;
  if (![...select.options].some((option) => option.value === value)) select.append(el("option", { value }, value));
  select.value = value;
}

function today() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
}

/** Date and minute as the browser's own field wants them. */
function thisMinute() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
}

function savedWords(state) {
  if (!state.at) return "";
  const when = state.day === today() ? state.at : `${state.day} ${state.at}`;
  return ["saved " + when, state.who, state.instrument].filter(Boolean).join(" · ");
}

/**
 * While a finger or a mouse button is down nothing on the page may move: the control under it would not get its click.
 * What would move something waits until the click has been delivered.
 */
const press = {
  down: false,
  waiting: [],
  after(work) {
    if (this.down || this.waiting.length) this.waiting.push(work);
    else work();
  },
  begin() { this.down = true; clearTimeout(this.timer); this.timer = setTimeout(() => this.end(), 2000); },
  end() {
    if (!this.down) return;
    this.down = false;
    setTimeout(() => { while (!this.down && this.waiting.length) this.waiting.shift()(); });
  },
};
addEventListener("pointerdown", () => press.begin(), true);
for (const name of ["pointerup", "pointercancel", "dragend"]) addEventListener(name, () => press.end(), true);
addEventListener("blur", (event) => { if (event.target === window) press.end(); });

/**
 * Undo for one control at a time. The browser keeps one list for the whole page, so that its undo would change a field out of sight,
 * and it forgets a text once it is saved.
 */
const PAUSE = 700; // ms between keys that are undone one by one
const undo = {
  kept: new WeakMap(),
  of(input) {
    if (!this.kept.has(input)) this.kept.set(input, { texts: [], gone: [], at: 0, now: input.value });
    return this.kept.get(input);
  },
  /** Note the text before it is changed. */
  focus(input) {
    const kept = this.of(input);
    if (kept.now !== input.value) { kept.texts.push(kept.now); kept.now = input.value; kept.at = 0; }
  },
  typed(input) {
    const kept = this.of(input), at = Date.now();
    if (kept.now === input.value) return;
    if (at - kept.at > PAUSE || !kept.texts.length) kept.texts.push(kept.now);
    Object.assign(kept, { at, now: input.value, gone: [] });
  },
  /** Put the text before (or, again, the one after) into the control; false if there is none. */
  step(input, again) {
    const kept = this.of(input), [from, to] = again ? [kept.gone, kept.texts] : [kept.texts, kept.gone];
    while (from.length && from.at(-1) === input.value) from.pop();
    if (!from.length) return false;
    to.push(input.value);
    kept.now = input.value = from.pop();
    kept.at = 0;
    return true;
  },
};
const TEXTS = "textarea, input[type=text], input:not([type])";

/** What was typed and not yet saved outlives a restart of the kernel and of the page. */
const drafts = {
  put: (key, text) => { try { sessionStorage.setItem(key, text); } catch { /* a browser may forbid it */ } },
  get: (key) => { try { return sessionStorage.getItem(key); } catch { return null; } },
  drop: (key) => { try { sessionStorage.removeItem(key); } catch { /* as above */ } },
};

/**
 * A panel that asks for a reason; resolves to the text, or null if the person keeps the old value.
 * It takes the focus only at once: later someone may be typing elsewhere, and those keys must not land in it.
 */
function askWhy(anchor, question, confirm, atOnce) {
  return new Promise((resolve) => {
    const input = el("input", { type: "text", autocomplete: "off", "aria-label": question });
    let back = null;
    const done = (answer) => {
      const here = panel.contains(document.activeElement);
      panel.remove();
      if (here && back?.isConnected) back.focus();
      resolve(answer);
    };
    const accept = () => (input.value.trim() ? done(input.value.trim()) : input.focus());
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); event.stopPropagation(); accept(); }
      if (event.key === "Escape") { event.stopPropagation(); done(null); }
    });
    const ready = REASONS.map((words) => button(words, () => { input.value = words; input.focus(); }, { class: "sk-small" }));
    const panel = el("div", { class: "sk-why", role: "group", "aria-label": question },
      el("strong", {}, question), el("div", { class: "sk-row" }, ...ready), input,
      el("div", { class: "sk-row" }, button(confirm, accept, { class: "sk-main" }), button("keep the old value", () => done(null))));
    anchor.append(panel);
    // The change was taken while the focus was on its way to the next control: let it arrive, and go back there afterwards.
    if (atOnce) setTimeout(() => { back = document.activeElement; input.focus(); });
  });
}
