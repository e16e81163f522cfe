// --- who enters, with what, in which units ----------------------------------------------------

class Desk {
  constructor(view, desk) {
    this.view = view;
    const id = `${view.name}-desk`;
    this.names = el("datalist", { id: `${id}-names` });
    this.who = el("input", { type: "text", id: `${id}-who`, list: this.names.id, autocomplete: "off", onchange: () => this.send({ who: this.who.value }) });
    this.units = chooser(["SI", "I-P"], { id: `${id}-units`, onchange: () => this.send({ units: this.units.value }) }, null);
    // Readings copied from a pencil: when they were read. It is not kept beyond this form, so that no one dates by chance.
    this.taken = el("input", { type: "text", id: `${id}-taken`, placeholder: "now", autocomplete: "off", onchange: () => this.dated() });
    this.tools = el("div", { class: "sk-instruments" });
    this.summary = el("summary", {});
    this.fold = el("details", {}, this.summary, this.tools);
    this.state = el("p", { class: "sk-state", role: "status" });
    this.node = el("div", { class: "sk-desk", role: "group", "aria-label": "For all entries" },
      el("div", { class: "sk-who" }, el("label", { for: this.who.id }, "Who is entering"), this.who, this.names),
      el("div", {}, el("label", { for: this.units.id }, "Units"), this.units),
      el("div", {}, el("label", { for: this.taken.id, title: "Date and time, as 2026-11-25 14:30" }, "Read at"), this.taken),
      button("refresh", () => this.refresh(), { title: "Read what others have entered" }), this.fold, this.state);
    this.show(desk);
  }

  show(desk) {
    if (document.activeElement !== this.who) this.who.value = desk.who;
    this.names.replaceChildren(...desk.people.map((name) => el("option", { value: name })));
    this.units.value = desk.units;
    this.who.toggleAttribute("aria-invalid", false);
    this.shown ??= "";
    const now = JSON.stringify(desk.instruments);
    if (now === this.shown) return;
    this.shown = now;
    this.fold.hidden = desk.instruments.length === 0;
    this.summary.textContent = "Instruments: " + desk.instruments.map((i) => `${i.label} ${i.chosen || "not chosen"}`).join(", ");
    this.tools.replaceChildren(...desk.instruments.map((i) => this.tool(i)));
  }

  dated() {
    const when = this.taken.value.trim();
    this.state.textContent = when ? `All that is entered here counts as read at ${when}, until “Read at” is emptied.` : "";
  }

  tool(instrument) {
    const id = `${this.view.name}-tool-${instrument.kind}`;
    const select = el("select", { id, onchange: () => this.send({ instruments: { [instrument.kind]: select.value } }) }, el("option", { value: "" }, "not chosen"),
      ...instrument.options.map((option) => el("option", { value: option.tag }, option.text)));
    choose(select, instrument.chosen);
    return el("div", {}, el("label", { for: id }, `For ${instrument.label}`), select);
  }

  async send(change) {
    this.state.textContent = "saving…";
    const reply = await this.view.ask("desk", change, () => { this.state.textContent = "no answer yet: the notebook is busy"; });
    this.state.classList.toggle("sk-not-saved", reply.tell !== "desk");
    this.state.textContent = reply.tell === "desk" ? "" : `NOT SAVED – ${reply.why}`;
    if (reply.tell !== "desk") return;
    this.show(reply);
    if ("who" in change) this.view.retry();
  }

  async refresh() {
    const reply = await this.view.ask("refresh");
    this.state.textContent = reply.tell === "refreshed" ? "read again" : `NOT READ – ${reply.why}`;
  }

  /** No one is named: show that where the name belongs. */
  missing() {
    this.who.setAttribute("aria-invalid", "true");
    this.state.textContent = "Enter your name first.";
    this.state.classList.add("sk-not-saved");
  }
}
