// --- the view --------------------------------------------------------------------------------

/** What the Tab key reaches inside a node. */
function reached(node) { return [...node.querySelectorAll("a[href], button, summary, input, select, textarea, [tabindex='0']")]; }

class View {
  constructor(model, root) {
    this.model = model;
    this.root = root;
    // Every view has its own copy of this module: only a random name is different on the whole page.
    this.name = `sk-${Math.random().toString(36).slice(2, 10)}`;
    this.waiting = new Map();
    this.fields = new Map();
    this.unsaved = new Map();
    this.asked = 0;
    root.classList.add("sk", "mathjax_ignore", "tex2jax_ignore"); // what was typed is no formula
    // Keys pressed here are for the form: on a button, the notebook would take "d d" and delete the cell.
    // JupyterLab looks for this mark on the focused element itself.
    root.addEventListener("focusin", (event) => {
      event.target.setAttribute("data-lm-suppress-shortcuts", "true");
      if (event.target.matches(TEXTS)) undo.focus(event.target);
    });
    root.addEventListener("input", (event) => { if (event.target.matches(TEXTS)) undo.typed(event.target); });
    // A click on a word of a card leaves the focus inside the form, where a stray key does nothing to the cell.
    root.tabIndex = -1;
    this.slots = Object.fromEntries(SLOTS.map((slot) => [slot, el("div", { "data-slot": slot })]));
    this.form = el("div", { class: "sk-form" });
    this.banner = el("div", { class: "sk-banner", role: "alert", hidden: true });
    this.live = el("div", { class: "sk-visually-hidden", "aria-live": "polite" });
    root.append(this.slots.head, this.banner, el("div", { class: "sk-cols" }, this.form, el("div", {}, this.slots.found, this.slots.plots)), this.slots.entered, this.live);
    root.addEventListener("click", (event) => this.clicked(event));
    root.addEventListener("keydown", (event) => this.keyed(event));
    this.heard = (message) => press.after(() => this.hear(message));
    model.on("msg:custom", this.heard);
    this.open();
  }

  close() { this.model.off("msg:custom", this.heard); }

  /** Ask Python; the promise resolves to its answer, or to what must be shown instead. */
  ask(ask, more = {}, slow = () => {}, bytes = []) {
    const id = `${this.name}-${++this.asked}`;
    return new Promise((resolve) => {
      const timer = setTimeout(slow, SLOW);
      this.waiting.set(id, (reply) => { clearTimeout(timer); resolve(reply); });
      const lost = () => { this.waiting.delete(id); clearTimeout(timer); resolve({ tell: "lost", why: restarted() }); };
      try {
        Promise.resolve(this.model.send({ id, ask, ...more }, undefined, bytes)).catch(lost);
      } catch {
        lost();
      }
    });
  }

  async open() {
    const reply = await this.ask("open", {}, () => { this.live.textContent = "The notebook is busy; the form will appear when it is free."; });
    if (reply.tell === "form") this.build(reply);
    else if (reply.tell !== "card") this.root.prepend(el("p", { class: "sk-error", role: "alert" }, reply.why));
  }

  hear(message) {
    if (message.id !== undefined && this.waiting.has(message.id)) {
      const answer = this.waiting.get(message.id);
      this.waiting.delete(message.id);
      answer(message);
    } else if (message.tell === "card") this.draw(message.pieces);
    else if (message.tell === "fields") this.show(message.states);
    else if (message.tell === "desk" && this.desk) this.desk.show(message);
  }

  /** Replace pieces of the card; what was folded open stays open, an open panel stays where it was. */
  draw(pieces) {
    for (const [slot, html] of Object.entries(pieces)) {
      const node = this.slots[slot];
      const folds = new Map([...node.querySelectorAll("details[data-key]")].map((fold) => [fold.dataset.key, fold.open]));
      const typing = this.panel && this.panel.node.contains(document.activeElement) ? document.activeElement : null;
      const place = typing ? -1 : reached(node).indexOf(document.activeElement);
      node.innerHTML = html;
      for (const fold of node.querySelectorAll("details[data-key]")) if (folds.has(fold.dataset.key)) fold.open = folds.get(fold.dataset.key);
      const item = this.panel && node.querySelector(`[data-verdict="${CSS.escape(this.panel.key)}"]`);
      if (item) { item.append(this.panel.node); if (typing) typing.focus(); }
      // A person walking through the card by keyboard stays in place.
      if (place >= 0) reached(node)[Math.min(place, reached(node).length - 1)]?.focus({ preventScroll: true });
    }
  }

  build(form) {
    this.job = form.job;
    this.stage = form.stage;
    this.desk = new Desk(this, form.desk);
    const groups = form.groups.map((group) => el("fieldset", {}, group.title && group.fields[0].question !== group.title ? el("legend", {}, group.title) : null, ...group.fields.map((spec) => this.field(spec))));
    this.form.replaceChildren(this.desk.node, ...groups);
    this.form.setAttribute("role", "form");
    this.root.classList.add("sk-live");
    this.form.setAttribute("aria-label", form.title);
    for (const field of this.fields.values()) field.restore();
  }

  field(spec) {
    const field = spec.control === "table" ? new Grid(this, spec) : spec.control === "photo" || spec.control === "signature" ? new Pictures(this, spec) : new Field(this, spec);
    this.fields.set(spec.name, field);
    return field.node;
  }

  show(states) {
    for (const [name, state] of Object.entries(states)) this.fields.get(name)?.show(state);
  }

  draftKey(...parts) { return ["startkit", this.job, this.stage, ...parts].join(":"); }

  /** Keep count of what is typed but not saved, in words at the head of the form. */
  mark(key, retry) {
    if (retry) this.unsaved.set(key, retry);
    else this.unsaved.delete(key);
    const n = this.unsaved.size;
    this.banner.hidden = n === 0;
    const words = n === 1 ? "1 entry is NOT SAVED" : `${n} entries are NOT SAVED`;
    if (n) this.banner.replaceChildren(words, button("try again", () => this.retry()));
  }

  retry() { for (const again of [...this.unsaved.values()]) again(); }

  say(words) { this.live.textContent = words; }

  keyed(event) {
    const key = event.key.toLowerCase();
    if ((event.ctrlKey || event.metaKey) && !event.altKey && ["z", "y"].includes(key)) {
      event.preventDefault(); // never in a field out of sight
      if (event.target.matches(TEXTS)) this.undo(event.target, key === "y" || event.shiftKey);
    } else if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      // Saving by habit: take what is being typed, and keep the browser from saving the page.
      event.preventDefault();
      const active = document.activeElement;
      active.blur();
      active.focus();
    } else if (event.key === "Enter" && !event.defaultPrevented && event.target.matches("input, select") && !event.target.closest(".sk-why, .sk-grid")) {
      event.preventDefault();
      this.next(event.target, event.shiftKey ? -1 : 1);
    }
  }

  undo(input, again) {
    if (!again && input.skCell?.row.grid.undoPaste()) return;
    if (undo.step(input, again)) input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /** Go to the next control; leaving the one before saves it. */
  next(from, step) {
    const stops = [...this.form.querySelectorAll("fieldset :is(input:not([type=radio]), input[type=radio]:checked, select, textarea), .sk-choices:not(:has(:checked)) label:first-child input")]
      .filter((node) => node.checkVisibility() && !node.closest(".sk-why, .sk-history") && !node.matches(".sk-unit-select, thead select, tbody th select"));
    const group = from.type === "radio" ? stops.findIndex((node) => node.name === from.name) : stops.indexOf(from);
    const to = stops[group + step];
    if (to) to.focus();
    else from.blur();
  }

  // --- waivers ------------------------------------------------------------------------------

  clicked(event) {
    const released = event.target.closest("[data-release]");
    if (released) { this.release(released); return; }
    const pressed = event.target.closest("[data-waive]");
    if (!pressed) return;
    this.panel?.node.remove();
    const { waive: key, verb } = pressed.dataset;
    this.panel = { key, node: this.waivePanel(key, verb, pressed) };
    pressed.closest("[data-verdict]").append(this.panel.node);
    this.panel.node.querySelector("input:placeholder-shown, input").focus();
  }

  /** Release a hold point: the name is chosen beside the button. */
  async release(pressed) {
    const group = pressed.closest(".sk-release");
    const named = (which) => group.querySelector(`[data-name="${which}"]`);
    const state = group.querySelector(".sk-state");
    const { release: hold, verb } = pressed.dataset;
    const lacking = ["who", "witness"].map(named).find((node) => node && !node.value.trim());
    if (lacking) { lacking.focus(); state.textContent = "Give the name; it is printed on the first page of the record."; return; }
    pressed.disabled = true;
    state.textContent = "saving…";
    const reply = await this.ask("release", { hold, verb, who: named("who").value, witness: named("witness")?.value ?? "" });
    pressed.disabled = false;
    if (reply.tell === "saved") this.say(`saved ${reply.at}`);
    else { state.textContent = `NOT SAVED – ${reply.why}`; state.classList.add("sk-not-saved"); }
  }

  waivePanel(key, verb, opener) {
    const words = { waiver: ["Waive this item", "waive it"], not_applicable: ["This item does not apply", "it does not apply"], withdraw: ["Withdraw", "withdraw it"] }[verb];
    const id = `${this.name}-waive`;
    const who = el("input", { type: "text", id: `${id}-who`, value: this.desk?.who.value ?? "", placeholder: " ", autocomplete: "off" });
    const reason = el("input", { type: "text", id: `${id}-reason`, placeholder: " ", autocomplete: "off" });
    const state = el("p", { class: "sk-state", role: "status" });
    const close = () => { this.panel.node.remove(); this.panel = null; if (opener.isConnected) opener.focus(); };
    const send = async () => {
      if (!who.value.trim() || !reason.value.trim()) { (who.value.trim() ? reason : who).focus(); state.textContent = "Give a name and a reason; both are printed on the first page of the record."; return; }
      state.textContent = "saving…";
      const reply = await this.ask("waive", { key, verb, who: who.value, reason: reason.value });
      if (reply.tell === "saved") { this.say(`saved ${reply.at}`); close(); } else { state.textContent = `NOT SAVED – ${reply.why}`; state.classList.add("sk-not-saved"); }
    };
    const keys = (event) => {
      if (event.key === "Enter" && event.target.matches("input")) { event.preventDefault(); send(); }
      if (event.key === "Escape") close();
    };
    return el("div", { class: "sk-why", role: "group", "aria-label": words[0], onkeydown: keys }, el("strong", {}, words[0]),
      el("div", { class: "sk-row" }, el("div", {}, el("label", { for: who.id }, "Name"), who), el("div", {}, el("label", { for: reason.id }, "Reason"), reason)),
      el("div", { class: "sk-row" }, button(words[1], send, { class: "sk-main" }), button("cancel", close)), state);
  }
}

/**
 * Let messages reach the form however long the browser took to get here.
 *
 * The widget library gives a module two seconds from the making of its model (a slow tablet, a page of many forms) and after
 * that drops every message to it without a word: the form would stay empty for good. So the model takes its messages itself,
 * as every other widget's model does.
 */
async function initialize({ model }) {
  const whole = await model.widget_manager.get_model(model.get("comm_name"));
  let waits = Object.getPrototypeOf(whole);
  while (!Object.hasOwn(waits, "_handle_comm_msg")) waits = Object.getPrototypeOf(waits);
  const handle = Object.getPrototypeOf(waits)._handle_comm_msg;
  whole.comm?.on_msg((message) => handle.call(whole, message));
}

function render({ model, el: root }) {
  const view = new View(model, root);
  return () => view.close();
}

export default { initialize, render };
