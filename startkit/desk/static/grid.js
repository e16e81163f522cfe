// --- a table -----------------------------------------------------------------------------------

class Grid extends Saver {
  constructor(view, spec) {
    super(view, spec);
    this.rows = new Map();
    this.highest = 0;
    this.units = new Map();
    this.body = el("tbody", {});
    this.problems = el("ul", { class: "sk-problem", id: `${this.id}-problem` });
    this.flags = el("ul", { class: "sk-flag" });
    this.past = button("history", () => this.cellHistory(), { class: "sk-small", "aria-expanded": "false", hidden: true });
    const add = button("add a row", () => this.cellAt(this.addRow(), 0).input.focus(), { "aria-label": `add a row: ${spec.question}` });
    const hint = el("span", { class: "sk-help" }, "Enter and arrow keys move; you can paste a block from a spreadsheet.");
    const table = el("table", { "aria-label": spec.question, class: spec.across ? "sk-across" : null }, el("thead", {}, this.head()), this.body);
    this.node = el("div", { class: "sk-field sk-wide", role: "group", "aria-labelledby": `${this.id}-q` },
      el("div", { class: "sk-question", id: `${this.id}-q` }, spec.question, spec.required ? null : el("span", { class: "sk-optional" }, " (optional)")),
      this.helpNode, el("div", { class: "sk-grid" }, table), el("div", { class: "sk-row" }, add, this.past, hint), this.problems, this.flags, this.status, this.whyPlace, this.historyPlace);
    this.body.addEventListener("keydown", (event) => this.keyed(event));
    this.body.addEventListener("paste", (event) => this.pasted(event));
    this.body.addEventListener("focusin", (event) => this.focused(event));
    this.show(spec.state);
  }

  /** Readings are side by side under their names; on a log sheet they are below one another and the rows side by side. */
  head() {
    const names = this.spec.columns.map((column) => this.name(column));
    const corner = el("th", { scope: "col" }, el("span", { class: "sk-visually-hidden" }, this.spec.across ? "reading" : "row"));
    if (!this.spec.across) return el("tr", {}, corner, ...names, el("td", {}));
    this.lines = names.map((name) => el("tr", {}, name));
    this.body.append(...this.lines);
    this.top = el("tr", {}, corner);
    return this.top;
  }

  name(column) {
    const must = column.required ? el("span", { class: "sk-optional" }, " required") : null;
    const words = el("span", {}, column.label, must);
    return el("th", { scope: this.spec.across ? "row" : "col", title: column.help || null }, el("div", { class: "sk-name" }, words, this.unitControl(column)));
  }

  unitControl(column) {
    this.units.set(column.name, column.units[0] ?? "");
    if (!column.units.length) return null;
    if (column.units.length === 1) return el("span", { class: "sk-unit" }, column.units[0]);
    const select = chooser(column.units, { "aria-label": `unit: ${column.label}`, onchange: () => { this.units.set(column.name, select.value); this.redraw(); } }, null);
    return select;
  }

  // --- rows and cells ---------------------------------------------------------------------

  addRow(index = Math.max(this.highest, ...this.rows.keys(), 0) + 1) {
    const row = { index, cells: new Map(), grid: this };
    const tds = this.spec.columns.map((column) => {
      const cell = this.cell(row, column);
      row.cells.set(column.name, cell);
      return el("td", {}, cell.input);
    });
    row.number = el("span", {});
    row.remove = button("×", () => this.removeRow(row), { class: "sk-small" });
    const after = [...this.rows.values()].filter((r) => r.index > index).sort((a, b) => a.index - b.index)[0];
    if (this.spec.across) {
      row.nodes = [el("th", { scope: "col" }, row.number, " ", row.remove), ...tds];
      [this.top, ...this.lines].forEach((line, n) => line.insertBefore(row.nodes[n], after ? after.nodes[n] : null));
    } else {
      row.nodes = [el("tr", {}, el("th", { scope: "row" }, row.number), ...tds, el("td", {}, row.remove))];
      this.body.insertBefore(row.nodes[0], after ? after.nodes[0] : null);
    }
    this.rows.set(index, row);
    this.renumber();
    return row;
  }

  renumber() {
    this.ordered().forEach((row, place) => {
      row.number.textContent = String(place + 1);
      row.remove.setAttribute("aria-label", `remove row ${place + 1}: ${this.spec.question}`);
      for (const cell of row.cells.values()) cell.input.setAttribute("aria-label", `${cell.column.label}, row ${place + 1}`);
    });
  }

  ordered() { return [...this.rows.values()].sort((a, b) => a.index - b.index); }

  cell(row, column) {
    const cell = { row, column, state: { value: "", unit: "", seq: 0, problem: "", flag: "", untrusted: "" } };
    const props = { onchange: () => this.left(cell), onblur: () => { if (cell.touched) this.left(cell); }, oninput: () => this.draft(cell), "aria-describedby": `${this.id}-problem`, autocomplete: "off", spellcheck: "false" };
    if (column.control === "choice" || column.control === "yes_no") cell.input = chooser(column.control === "choice" ? column.choices : ["yes", "no"], props);
    else cell.input = el("input", { ...props, type: "text", inputmode: column.control === "reading" ? "decimal" : undefined, class: column.control === "reading" ? undefined : "sk-text",
      list: column.control === "person" ? view_names(this.view) : undefined, placeholder: this.spec.last?.[row.index]?.[column.name] ?? (column.control === "date" ? "yyyy-mm-dd" : column.control === "moment" ? "yyyy-mm-dd hh:mm" : undefined) });
    cell.input.skCell = cell;
    return cell;
  }

  draft(cell) {
    cell.touched = true;
    this.pastedLast = null;
    drafts.put(this.key(cell), cell.input.value);
  }

  /** Leaving a cell saves it, once the click that left it has arrived. */
  left(cell) {
    cell.touched = false;
    press.after(() => this.commit([cell]));
  }

  cells() { return this.ordered().flatMap((row) => [...row.cells.values()]); }

  cellAt(row, column) { return row.cells.get(this.spec.columns[column].name); }

  text(cell) {
    const { value, unit } = cell.state;
    return unit && value && unit !== this.units.get(cell.column.name) ? `${value} ${unit}` : value;
  }

  dirty(cell) { return cell.input.value.trim() !== this.text(cell); }

  put(cell) {
    if (cell.input.matches("select")) choose(cell.input, cell.state.value);
    else cell.input.value = this.text(cell);
    cell.input.classList.remove("sk-cell-unsaved");
  }

  redraw() { for (const cell of this.cells()) if (!cell.input.classList.contains("sk-cell-unsaved")) this.put(cell); }

  key(cell) { return this.view.draftKey(this.spec.name, cell.row.index, cell.column.name); }

  restore() {
    for (const cell of this.cells()) this.restoreCell(cell);
    const late = this.cells().filter((cell) => cell.input.classList.contains("sk-cell-unsaved"));
    if (!late.length) return;
    this.tell("NOT SAVED – typed earlier and never saved: check it, then press try again", true);
    this.view.mark(this.id, () => this.commit(this.cells()));
  }

  restoreCell(cell) {
    const text = drafts.get(this.key(cell));
    if (text === null) return;
    if (!text.trim() || text.trim() === this.text(cell)) { drafts.drop(this.key(cell)); return; }
    if (cell.input.matches("select")) choose(cell.input, text);
    else cell.input.value = text;
    cell.input.classList.add("sk-cell-unsaved");
  }

  // --- from and to Python -----------------------------------------------------------------

  show(state) {
    this.highest = Math.max(this.highest, state.highest);
    const known = new Map(state.rows.map((row) => [row.index, row.cells]));
    for (const index of known.keys()) if (!this.rows.has(index)) this.addRow(index);
    for (const row of this.rows.values()) {
      const cells = known.get(row.index);
      if (cells) for (const cell of row.cells.values()) this.showCell(cell, cells[cell.column.name]);
      // A row with a number beyond what the state knows was entered after it was calculated: it is not a row removed.
      else if (row.index <= state.highest && [...row.cells.values()].some((cell) => cell.state.value)) this.drop(row);
    }
    while (this.rows.size < Math.max(1, this.spec.rows)) this.addRow();
    this.words();
  }

  showCell(cell, state) {
    if (state.seq < cell.state.seq) return; // calculated before an entry that is already shown
    const typing = this.dirty(cell);
    cell.state = state;
    if (!typing || !this.dirty(cell)) this.put(cell);
  }

  words() {
    const lines = (pick) => this.ordered().flatMap((row, place) => [...row.cells.values()].filter((c) => pick(c.state)).map((c) => el("li", {}, pick(c.state).startsWith(this.spec.question) ? pick(c.state) : `Row ${place + 1}, ${c.column.label}: ${pick(c.state)}`)));
    this.problems.replaceChildren(...lines((s) => s.problem));
    this.flags.replaceChildren(...lines((s) => [s.flag, s.untrusted].filter(Boolean).join("; ")));
    for (const cell of this.cells()) {
      cell.input.setAttribute("aria-invalid", String(Boolean(cell.state.problem)));
      cell.input.classList.toggle("sk-cell-flag", Boolean(cell.state.flag || cell.state.untrusted));
    }
    if (this.view.unsaved.has(this.id)) return;
    const newest = this.cells().map((c) => c.state).filter((s) => s.at).sort((a, b) => b.seq - a.seq)[0];
    this.tellSaved(newest ? savedWords(newest) : "");
  }

  commit(cells) {
    const changed = cells.filter((cell) => this.dirty(cell));
    for (const cell of cells) if (!changed.includes(cell)) { drafts.drop(this.key(cell)); cell.input.classList.remove("sk-cell-unsaved"); }
    if (!changed.length) { if (!this.cells().some((cell) => this.dirty(cell))) { this.view.mark(this.id, null); this.words(); } return; }
    for (const cell of changed) cell.input.classList.add("sk-cell-unsaved");
    const changes = changed.map((cell) => this.change(cell));
    if (changed.some((cell) => cell.state.value)) this.reasonFor(changes, true);
    else if (!this.whyPlace.childElementCount) this.save(changes);
  }

  change(cell) {
    return { field: this.spec.name, row: cell.row.index, column: cell.column.name, value: cell.input.value.trim(), unit: this.units.get(cell.column.name), seq: cell.state.seq };
  }

  /** On another try everything is sent that is typed and not saved by then. */
  latest(changes) {
    return changes[0]?.column === "row" ? changes : this.cells().filter((cell) => this.dirty(cell)).map((cell) => this.change(cell));
  }

  accepted(changes, reply) {
    for (const change of changes) {
      const cell = this.rows.get(change.row)?.cells.get(change.column);
      if (!cell || cell.input.value.trim() !== change.value) continue; // typed on since
      drafts.drop(this.key(cell));
      cell.state = reply.states[this.spec.name].rows.find((row) => row.index === change.row)?.cells[change.column] ?? cell.state;
      this.put(cell);
    }
    this.show(reply.states[this.spec.name]);
    const left = this.cells().filter((cell) => cell.input !== document.activeElement && this.dirty(cell));
    if (left.length && !this.flying) {
      this.tell("NOT SAVED – some cells were refused: check them, then press try again", true);
      this.view.mark(this.id, () => this.commit(this.cells()));
    }
  }

  conflict(state) {
    const known = new Map(state.rows.map((row) => [row.index, row.cells]));
    for (const cell of this.cells()) {
      const theirs = known.get(cell.row.index)?.[cell.column.name];
      if (theirs) { const mine = this.dirty(cell); cell.state = theirs; if (!mine) this.put(cell); }
    }
  }

  async reasonFor(changes, atOnce = false) {
    if (this.whyPlace.childElementCount) return;
    this.tell("NOT SAVED – say why", true);
    const removing = changes.every((change) => change.column === "row");
    const n = changes.length;
    this.view.mark(this.id, () => this.whyPlace.querySelector("input")?.focus());
    const question = removing ? "Why is the row removed?" : n === 1 ? `${this.named(changes[0])}. Why does it change?` : `${n} cells change. Why?`;
    const why = await askWhy(this.whyPlace, question, removing ? "remove the row" : "save the correction", atOnce);
    this.view.mark(this.id, null);
    if (why !== null) { this.save(this.latest(changes), why); return; }
    if (!removing) for (const cell of this.cells().filter((c) => this.dirty(c))) { drafts.drop(this.key(cell)); this.put(cell); }
    this.words();
  }

  named(change) {
    const cell = this.rows.get(change.row).cells.get(change.column);
    return `${cell.input.getAttribute("aria-label")} was ${this.text(cell)}`;
  }

  removeRow(row) {
    const written = [...row.cells.values()].some((cell) => cell.state.value);
    if (!written) { for (const cell of row.cells.values()) drafts.drop(this.key(cell)); this.drop(row); if (!this.rows.size) this.addRow(); return; }
    this.reasonFor([{ field: this.spec.name, row: row.index, column: "row", value: "row removed" }], true);
  }

  drop(row) {
    const at = this.ordered().indexOf(row);
    this.highest = Math.max(this.highest, row.index);
    for (const node of row.nodes) node.remove();
    this.rows.delete(row.index);
    this.renumber();
    const near = this.ordered()[Math.max(0, at - 1)];
    if (near && document.activeElement === document.body) this.cellAt(near, 0).input.focus();
  }

  // --- keys, paste, history ---------------------------------------------------------------

  focused(event) {
    const cell = event.target.skCell;
    if (!cell) return;
    this.last = cell;
    this.past.hidden = !cell.state.seq;
    this.past.textContent = `history of ${cell.input.getAttribute("aria-label")}`;
    if (event.target.matches("input")) event.target.select();
  }

  keyed(event) {
    const cell = event.target.skCell;
    if (!cell || event.ctrlKey || event.metaKey || event.altKey) return;
    const { target, key } = event;
    const inText = target.matches("input");
    const atStart = inText && target.selectionEnd === 0, atEnd = inText && target.selectionStart === target.value.length;
    const all = inText && target.selectionStart === 0 && target.selectionEnd === target.value.length;
    const step = key === "Enter" ? [event.shiftKey ? -1 : 1, 0] : inText && key === "ArrowDown" ? [1, 0] : inText && key === "ArrowUp" ? [-1, 0]
      : key === "ArrowRight" && (atEnd || all || !inText) ? [0, 1] : key === "ArrowLeft" && (atStart || all || !inText) ? [0, -1] : null;
    if (key === "Escape") { drafts.drop(this.key(cell)); this.put(cell); return; }
    if (!step) return;
    event.preventDefault();
    this.move(cell, step, key === "Enter" && !event.shiftKey);
  }

  move(cell, step, mayAdd) {
    const [down, right] = this.spec.across ? [step[1], step[0]] : step;
    const rows = this.ordered();
    let at = rows.indexOf(cell.row) + down;
    let column = this.spec.columns.indexOf(cell.column) + right;
    if (this.spec.across && mayAdd && column === this.spec.columns.length) { column = 0; at += 1; }
    if (column < 0 || column >= this.spec.columns.length || at < 0) return;
    const row = rows[at] ?? (mayAdd ? this.addRow() : null);
    if (row) this.cellAt(row, column).input.focus();
  }

  pasted(event) {
    const cell = event.target.skCell;
    const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n+$/, "");
    if (!cell || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    const lines = text.split("\n").map((line) => line.split("\t").map((part) => part.trim()));
    const widest = Math.max(...lines.map((line) => line.length));
    const block = this.spec.across ? [...Array(widest).keys()].map((n) => lines.map((line) => line[n] ?? "")) : lines;
    const first = this.spec.columns.indexOf(cell.column);
    const room = this.spec.columns.length - first;
    const filled = this.fill(block.map((line) => line.slice(0, room)), this.ordered().indexOf(cell.row), first);
    this.pastedLast = filled.map(({ cell: changed, before }) => ({ cell: changed, before }));
    this.commit(filled.map(({ cell: changed }) => changed));
    const wide = Math.max(...block.map((line) => line.length)) - room;
    if (wide > 0) this.flags.append(el("li", {}, `The pasted block was wider than the table: its last ${wide === 1 ? "column was" : `${wide} columns were`} left out.`));
  }

  fill(block, top, left) {
    return block.flatMap((line, down) => {
      const row = this.ordered()[top + down] ?? this.addRow();
      return line.map((text, right) => {
        const cell = this.cellAt(row, left + right), before = cell.input.value;
        if (cell.input.matches("select")) choose(cell.input, text);
        else cell.input.value = text;
        drafts.put(this.key(cell), cell.input.value);
        return { cell, before };
      });
    });
  }

  /** Take the last paste back as a whole; false if something was typed since. */
  undoPaste() {
    const last = this.pastedLast;
    if (!last || this.flying || this.whyPlace.childElementCount) return false;
    this.pastedLast = null;
    for (const { cell, before } of last) {
      if (cell.input.matches("select")) choose(cell.input, before);
      else cell.input.value = before;
      drafts.put(this.key(cell), before);
    }
    const changed = last.map(({ cell }) => cell).filter((cell) => this.dirty(cell));
    for (const cell of changed) cell.input.classList.add("sk-cell-unsaved");
    if (changed.length) this.save(changed.map((cell) => this.change(cell)), "paste undone");
    this.view.say(`${this.spec.question}: paste undone`);
    return true;
  }

  cellHistory() {
    const cell = this.last;
    if (cell) this.showHistory(this.past, { field: this.spec.name, row: cell.row.index, column: cell.column.name }, cell.input.getAttribute("aria-label"));
  }
}
