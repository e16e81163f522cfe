// --- saving, common to fields and tables -------------------------------------------------------

class Saver {
  constructor(view, spec) {
    this.view = view;
    this.spec = spec;
    this.flying = 0;
    this.id = `${view.name}-${spec.name}`;
    this.status = el("p", { class: "sk-state", id: `${this.id}-state` });
    this.whyPlace = el("div", {});
    this.historyPlace = el("div", { class: "sk-history", hidden: true });
    this.helpNode = this.help();
  }

  /** How and where to measure: in sight if it is short, folded if it is long. */
  help() {
    const words = this.spec.help;
    const columns = this.spec.columns.filter((column) => column.help);
    if (!words && !columns.length) return null;
    const text = el("p", { class: "sk-help", id: `${this.id}-help` }, words);
    if (words.length <= 140 && !columns.length) return text;
    const list = el("ul", { class: "sk-help" }, ...columns.map((column) => el("li", {}, el("strong", {}, column.label), `: ${column.help}`)));
    return el("details", {}, el("summary", {}, "How and where to measure"), text, columns.length ? list : null);
  }

  /** Say when it was saved, unless something else of it is still on its way. */
  tellSaved(words) { if (!this.flying) this.tell(words); }

  tell(words, bad = false) {
    this.status.textContent = words;
    this.status.classList.toggle("sk-not-saved", bad);
    this.node.classList.toggle("sk-is-unsaved", bad);
  }

  /** Send changes; ask for the reason where one is due; show in words what became of them. */
  async save(changes, note = "") {
    const again = () => this.save(this.latest(changes), note);
    this.tell("saving…");
    const landed = this.takeOff();
    const reply = await this.view.ask("save", { changes, note, taken: this.view.desk.taken.value }, () => {
      landed(); // an answer may never come: nothing waits for it any more
      this.tell(`NOT SAVED yet – ${noAnswer()}`, true);
      this.view.mark(this.id, again);
    });
    landed();
    if (reply.tell === "saved") {
      if (!this.flying) this.view.mark(this.id, null);
      this.accepted(changes, reply);
      this.view.say(`${this.spec.question}: saved ${reply.at}`);
    } else if (reply.needs === "reason") {
      this.reasonFor(changes);
    } else {
      if (reply.needs === "who") this.view.desk.missing();
      if (reply.states) this.conflict(reply.states[this.spec.name]);
      this.tell(`NOT SAVED – ${reply.why}`, true);
      this.view.mark(this.id, again);
    }
    if (this.late && !this.flying) { this.late = false; this.commit(); }
    return reply;
  }

  /** Count what is on its way; gives back what ends that, once. */
  takeOff() {
    let away = true;
    this.flying += 1;
    return () => { if (away) this.flying -= 1; away = false; };
  }

  async showHistory(button, request, title) {
    const open = this.historyPlace.hidden;
    button.setAttribute("aria-expanded", String(open));
    this.historyPlace.hidden = !open;
    if (!open) return;
    const reply = await this.view.ask("history", request);
    const rows = (reply.rows ?? []).map((row) => el("li", {}, el("strong", {}, row.value), " · " + [row.who, row.when, row.instrument, row.note].filter(Boolean).join(" · ")));
    this.historyPlace.replaceChildren(el("strong", {}, title), rows.length ? el("ol", {}, ...rows) : el("p", {}, reply.why ?? "Nothing entered yet."));
    if (rows.length) this.historyPlace.append(this.readWith(request) ?? "");
  }

  readWith() { return null; }
}

// --- one field ---------------------------------------------------------------------------------

class Field extends Saver {
  constructor(view, spec) {
    super(view, spec);
    this.state = spec.state;
    this.problem = el("p", { class: "sk-problem", id: `${this.id}-problem` });
    this.flag = el("p", { class: "sk-flag", id: `${this.id}-flag` });
    this.last = el("p", { class: "sk-help sk-last", hidden: true });
    this.past = button("history", () => this.showHistory(this.past, { field: spec.name }, spec.question), { class: "sk-small", "aria-expanded": "false", "aria-label": `history: ${spec.question}` });
    const row = el("div", { class: "sk-input" }, ...this.control(), this.past);
    const optional = spec.required ? null : el("span", { class: "sk-optional" }, " (optional)");
    const head = this.radios ? el("div", { class: "sk-question", id: `${this.id}-q` }, spec.question, optional) : el("label", { for: this.id }, spec.question, optional);
    this.node = el("div", { class: "sk-field" }, head, row, this.last, this.helpNode, this.problem, this.flag, this.status, this.whyPlace, this.historyPlace);
    this.put();
    this.words();
  }

  control() {
    const { spec } = this;
    const described = [this.helpNode && `${this.id}-help`, `${this.id}-problem`, `${this.id}-flag`, `${this.id}-state`].filter(Boolean).join(" ");
    const common = { id: this.id, "aria-describedby": described, autocomplete: "off", spellcheck: "false", oninput: () => this.draft(),
      onchange: () => { if (!this.halfTyped()) this.left(); }, onblur: () => { if (this.halfTyped() || this.undone()) this.left(); } };
    if (spec.control === "yes_no" || (spec.control === "choice" && spec.buttons)) return this.buttons(spec.control === "yes_no" ? [["yes", "Yes"], ["no", "No"]] : spec.choices.map((c) => [c, c]), described);
    if (spec.control === "choice") this.input = chooser(spec.choices, common, "choose …");
    else if (spec.control === "long_text" || spec.control === "series") this.input = el("textarea", { ...common, rows: spec.control === "series" ? 6 : 3, onkeydown: (event) => this.textKey(event) });
    else this.input = el("input", { ...common, type: this.inputType(), inputmode: spec.control === "reading" ? "decimal" : undefined, list: spec.control === "person" ? view_names(this.view) : undefined });
    const more = spec.control === "reading" ? [this.unitControl()] : spec.control === "moment" ? [button("now", () => { this.input.value = thisMinute(); this.commit(); }, { "aria-label": `now: ${spec.question}` })] : [];
    return spec.control === "series" ? [el("p", { class: "sk-help" }, `Columns: ${spec.columns.map((c) => (c.units[0] ? `${c.label} [${c.units[0]}]` : c.label)).join(" | ")}. Paste from a spreadsheet, or type one row a line with a tab, semicolon or blank between columns. A first row of labels chooses the columns; a unit in brackets wins.`), this.input, this.read = el("div", { class: "sk-as-read", role: "status" })] : [this.input, ...more];
  }

  /** In a text of several lines Enter and Tab belong to the text; JupyterLab would take Enter away. A second Tab in a row leaves, as does one on an empty line or after Escape. */
  textKey(event) {
    if (event.key === "Escape") { this.leaving = true; return; }
    if (event.key === "Enter" && !event.ctrlKey && !event.metaKey && !event.altKey) event.stopPropagation();
    const { input } = this, line = input.value.slice(0, input.selectionStart).split("\n").at(-1);
    if (event.key === "Tab" && !event.shiftKey && this.spec.control === "series" && line && !line.endsWith("\t") && !this.leaving) {
      event.preventDefault();
      event.stopPropagation();
      input.setRangeText("\t", input.selectionStart, input.selectionEnd, "end");
      input.dispatchEvent(new Event("input", { bubbles: true }));
    }
    this.leaving = false;
  }

  /** True if the text was changed by us while the focus was here: the browser then reports no change. */
  undone() { return this.touched; }

  /** Leaving the field saves it, once the click that left it has arrived. */
  left() { this.touched = false; press.after(() => this.commit()); }

  /** Show how a series is read before it is saved. */
  preview() {
    clearTimeout(this.reading);
    this.reading = setTimeout(async () => {
      const value = this.input.value;
      const reply = await this.view.ask("read", { field: this.spec.name, value });
      if (reply.tell === "read" && value === this.input.value) press.after(() => this.showRead(reply.read, reply.problems));
    }, 250);
  }

  showRead(read, problems = null) {
    if (!this.read) return;
    if (problems) { this.problem.textContent = problems.join(" "); this.node.classList.toggle("sk-is-bad", problems.length > 0); }
    const dots = read.rows.length < read.length ? read.rows.length - 1 : -1;
    const rows = read.rows.flatMap((row, n) => [n === dots ? el("tr", {}, el("td", { colspan: String(read.heads.length) }, "…")) : null, el("tr", {}, ...row.map((cell) => el("td", {}, cell)))]);
    this.read.replaceChildren(...(read.length ? [el("table", { "aria-label": `As read: ${this.spec.question}` }, el("caption", {}, `As read: ${read.length} ${read.length === 1 ? "row" : "rows"}`),
      el("thead", {}, el("tr", {}, ...read.heads.map((head) => el("th", { scope: "col" }, head)))), el("tbody", {}, ...rows.filter(Boolean)))] : []));
  }

  /** A date typed key by key is a date of the years 2, 20 and 202 before it is one of ours. */
  halfTyped() { return this.input.type.startsWith("date") && /^0/.test(this.input.value); }

  /** The browser's own date field, unless the text is no date: then it must be seen as typed. */
  inputType() {
    const value = this.state.value;
    if (this.spec.control === "date" && /^(\d{4}-\d\d-\d\d)?$/.test(value)) return "date";
    if (this.spec.control === "moment" && /^(\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?)?$/.test(value)) return "datetime-local";
    return "text";
  }

  unitControl() {
    const { units } = this.spec;
    if (units.length < 2) { // nothing to choose, but what was typed with another unit must be seen with it
      this.fixed = el("span", { class: "sk-unit-fixed" }, units[0] ?? "");
      return this.fixed;
    }
    this.unit = chooser(units, { class: "sk-unit-select", "aria-label": `unit: ${this.spec.question}`, onchange: () => { if (this.value()) this.commit(); } }, null);
    return this.unit;
  }

  buttons(pairs, described) {
    this.radios = pairs.map(([value, words]) => {
      const input = el("input", { type: "radio", name: this.id, value, onchange: () => this.left() });
      return { input, label: el("label", {}, input, words) };
    });
    return [el("div", { class: "sk-choices", role: "radiogroup", "aria-labelledby": `${this.id}-q`, "aria-describedby": described }, ...this.radios.map((r) => r.label))];
  }

  value() {
    return this.radios ? this.radios.find((r) => r.input.checked)?.input.value ?? "" : this.input.value.trim();
  }

  change() {
    return { field: this.spec.name, value: this.value(), unit: this.unit?.value ?? this.fixed?.textContent ?? "", seq: this.state.seq };
  }

  latest() { return [this.change()]; }

  dirty() {
    const unit = this.unit && this.state.value ? this.unit.value !== (this.state.unit || this.spec.units[0]) : false;
    return this.value() !== this.shownText() || unit;
  }

  shownText() {
    return this.spec.control === "yes_no" ? this.state.value.toLowerCase() : this.state.value;
  }

  commit() {
    if (this.flying) { this.late = true; return undefined; } // changed again before the answer: what comes next depends on it
    if (!this.dirty()) { drafts.drop(this.key()); this.view.mark(this.id, null); this.tell(savedWords(this.state)); return undefined; }
    return this.state.value ? this.reasonFor([this.change()], true) : this.save([this.change()]);
  }

  key() { return this.view.draftKey(this.spec.name); }

  draft() {
    if (this.radios) return;
    this.touched = true;
    drafts.put(this.key(), this.input.value);
    if (this.read) this.preview();
  }

  /** What was typed before a restart and never saved comes back as typed and not saved. */
  restore() {
    const text = drafts.get(this.key());
    if (text === null || this.radios) return;
    if (text.trim() === this.state.value || !text.trim()) { drafts.drop(this.key()); return; }
    this.input.value = text;
    this.tell("NOT SAVED – typed earlier and never saved: check it, then press try again", true);
    this.view.mark(this.id, () => this.commit());
  }

  accepted(changes, reply) {
    drafts.drop(this.key());
    const typedOn = this.value() !== changes[0].value;
    this.state = reply.states[this.spec.name];
    if (typedOn) { this.tell(savedWords(this.state)); return; }
    this.put();
    this.words();
  }

  conflict(state) { this.state = state; }

  async reasonFor(changes, atOnce = false) {
    if (this.whyPlace.childElementCount) return;
    this.tell("NOT SAVED – give the reason for the change", true);
    this.view.mark(this.id, () => this.whyPlace.querySelector("input")?.focus());
    const was = `${this.state.value} ${this.state.unit}`.trim();
    const why = await askWhy(this.whyPlace, `Was ${was.length > 60 ? was.slice(0, 60) + "…" : was}. Why does it change?`, "save the correction", atOnce);
    this.view.mark(this.id, null);
    if (why !== null) this.save([this.change()], why);
    else { drafts.drop(this.key()); this.put(); this.words(); }
  }

  /** A state from Python: shown, unless someone is typing here. */
  show(state) {
    if (state.seq < this.state.seq) return; // calculated before an entry that is already shown
    // While something is typed here, asked about or on its way, an older state must not take its place.
    const busy = this.flying || this.view.unsaved.has(this.id) || this.dirty();
    const moved = state.seq !== this.state.seq;
    if (busy && this.flying) return;
    if (busy && moved) { this.tell(`NOT SAVED – ${state.who || "someone"} entered ${state.value} ${state.unit} here in the meantime; yours is still in the field`, true); return; }
    this.state = state;
    if (!busy) { this.put(); this.words(); }
  }

  put() {
    if (this.radios) for (const r of this.radios) r.input.checked = r.input.value === this.shownText();
    else if (this.input.matches("select")) choose(this.input, this.state.value);
    else {
      if (this.input.matches("input")) this.input.type = this.inputType();
      this.input.value = this.state.value;
    }
    if (this.unit && this.state.value) choose(this.unit, this.state.unit || this.spec.units[0]);
    if (this.fixed) this.fixed.textContent = this.state.unit || this.spec.units[0] || "";
  }

  words() {
    const s = this.state;
    const problems = this.spec.control === "series" ? s.problems.concat(s.more ? [`and ${s.more} more`] : []) : [s.problem].filter(Boolean);
    this.problem.textContent = problems.join(" ");
    this.flag.textContent = [s.flag, s.untrusted].filter(Boolean).join("; ");
    (this.radios ? this.radios[0].label.parentElement : this.input).setAttribute("aria-invalid", String(problems.length > 0));
    this.node.classList.toggle("sk-is-bad", problems.length > 0);
    this.node.classList.toggle("sk-is-flagged", Boolean(this.flag.textContent));
    this.tell([this.spec.control === "series" && s.at ? `${s.length} rows read` : "", savedWords(s)].filter(Boolean).join(" · "));
    this.past.hidden = s.count === 0;
    this.last.hidden = !s.last;
    this.last.textContent = s.last ? `last time ${s.last}` : "";
    if (this.read) this.showRead(s.read);
  }

  /** Say afterwards with which instrument a reading was taken. */
  readWith() {
    if (this.spec.control !== "reading" || !this.state.value) return null;
    const tool = JSON.parse(this.view.desk.shown || "[]").find((i) => i.kind === this.spec.kind);
    if (!tool) return null;
    const id = `${this.id}-tool`;
    const select = el("select", { id, onchange: () => this.save([{ ...this.change(), value: this.state.value, unit: this.state.unit, instrument: select.value }]) },
      el("option", { value: "" }, "not named"), ...tool.options.map((o) => el("option", { value: o.tag }, o.text)));
    choose(select, this.state.instrument);
    return el("div", { class: "sk-row" }, el("label", { for: id }, "Read with"), select);
  }
}

function view_names(view) { return `${view.name}-desk-names`; }
