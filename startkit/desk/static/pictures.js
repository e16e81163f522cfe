// --- photographs and signatures ----------------------------------------------------------------

const PIECE = 1 << 20; // bytes: a server passes no message as large as a photograph
const PAD = [600, 200]; // the pad's own units, whatever its size on the screen
const PICTURES = "image/jpeg,image/png,image/webp"; // a phone that makes others turns them into one of these

/** "file | what it shows", one picture on a line. */
function named(value) {
  return value.split("\n").filter((line) => line.trim()).map((line) => {
    const [file, ...caption] = line.split("|");
    return { line, file: file.trim(), caption: caption.join("|").trim() };
  });
}

class Pictures extends Saver {
  constructor(view, spec) {
    super(view, spec);
    this.state = spec.state;
    this.looked = new Map();
    this.problem = el("p", { class: "sk-problem", id: `${this.id}-problem` });
    this.list = el("ul", { class: "sk-pictures", "aria-label": `pictures: ${spec.question}` });
    this.past = button("history", () => this.showHistory(this.past, { field: spec.name }, spec.question), { class: "sk-small", "aria-expanded": "false", "aria-label": `history: ${spec.question}` });
    const optional = spec.required ? null : el("span", { class: "sk-optional" }, " (optional)");
    this.node = el("div", { class: "sk-field", role: "group", "aria-labelledby": `${this.id}-q` },
      el("div", { class: "sk-question", id: `${this.id}-q` }, spec.question, optional),
      this.list, ...(spec.control === "signature" ? this.pad() : this.camera()), this.past, this.helpNode, this.problem, this.status, this.whyPlace, this.historyPlace);
    this.words();
  }

  // --- a photograph -----------------------------------------------------------------------

  camera(words = "Take or choose a photograph") {
    this.caption = this.spec.control === "photo" ? el("input", { type: "text", id: `${this.id}-caption`, autocomplete: "off" }) : null;
    this.file = el("input", { type: "file", id: this.id, accept: PICTURES, class: "sk-visually-hidden", "aria-describedby": `${this.id}-problem ${this.id}-state`, onchange: () => this.chosen() });
    const label = el("label", { for: this.id, class: "sk-button" }, words);
    const shows = this.caption && el("div", {}, el("label", { for: this.caption.id }, "What it shows"), this.caption);
    return [el("div", { class: "sk-row" }, shows, el("span", { class: "sk-file" }, this.file, label))];
  }

  async chosen() {
    const file = this.file.files[0];
    if (!file) return;
    this.waiting = file;
    this.file.value = ""; // the same one can be chosen again
    await this.upload();
  }

  /** Sent in pieces, each answered for, then saved as one. */
  async upload() {
    const file = this.waiting;
    const upload = `${this.view.name}-${++this.view.asked}`;
    const again = () => this.upload();
    const pieces = Math.max(1, Math.ceil(file.size / PIECE));
    for (let piece = 0; piece < pieces; piece += 1) {
      this.tell(`sending ${file.name}: ${piece + 1} of ${pieces}…`);
      let bytes;
      try {
        bytes = await file.slice(piece * PIECE, (piece + 1) * PIECE).arrayBuffer();
      } catch {
        this.refused("the file can no longer be read; choose it again.", null);
        return;
      }
      const reply = await this.view.ask("piece", { upload, piece }, () => this.slow(again), [bytes]);
      if (reply.tell !== "held") { this.refused(reply.why, again); return; }
    }
    const caption = this.spec.control === "photo" ? this.caption.value.trim() : [this.who.value, this.role.value].map((w) => w.trim()).filter(Boolean).join(", ");
    await this.put({ upload, file: file.name, caption }, again);
  }

  // --- a signature ------------------------------------------------------------------------

  pad() {
    const [width, height] = PAD;
    const text = (name, words, list) => {
      const input = el("input", { type: "text", id: `${this.id}-${name}`, autocomplete: "off", list });
      this[name] = input;
      return el("div", {}, el("label", { for: input.id }, words), input);
    };
    this.strokes = [];
    this.canvas = el("canvas", { class: "sk-pad", width: 2 * width, height: 2 * height, role: "img", "aria-label": `Box to sign in: ${this.spec.question}` });
    this.canvas.addEventListener("pointerdown", (event) => this.begin(event));
    this.canvas.addEventListener("pointermove", (event) => this.go(event));
    const accept = button("accept the signature", () => this.sign(), { class: "sk-main" });
    const clear = button("clear", () => this.clear());
    return [el("div", { class: "sk-row" }, text("who", "Name", view_names(this.view)), text("role", "Role"), text("statement", "Statement (optional)")),
      this.canvas, el("div", { class: "sk-row" }, accept, clear), ...this.camera("or choose a picture of it")];
  }

  point(event) {
    const box = this.canvas.getBoundingClientRect();
    const style = getComputedStyle(this.canvas);
    const [left, top] = [parseFloat(style.borderLeftWidth), parseFloat(style.borderTopWidth)];
    return [(event.clientX - box.left - left) / this.canvas.clientWidth * PAD[0], (event.clientY - box.top - top) / this.canvas.clientHeight * PAD[1]].map((n) => Math.round(n * 10) / 10);
  }

  begin(event) {
    event.preventDefault();
    this.canvas.setPointerCapture(event.pointerId);
    this.strokes.push([this.point(event)]);
    this.tell("NOT SAVED – accept the signature when it is complete", true);
  }

  go(event) {
    if (!this.canvas.hasPointerCapture(event.pointerId)) return;
    const stroke = this.strokes[this.strokes.length - 1];
    stroke.push(this.point(event));
    const [from, to] = stroke.slice(-2);
    const pen = this.canvas.getContext("2d");
    Object.assign(pen, { lineWidth: 5, lineCap: "round", strokeStyle: "#000000" });
    pen.beginPath();
    pen.moveTo(2 * from[0], 2 * from[1]);
    pen.lineTo(2 * to[0], 2 * to[1]);
    pen.stroke();
  }

  clear() {
    this.strokes = [];
    this.canvas.getContext("2d").clearRect(0, 0, this.canvas.width, this.canvas.height);
    this.view.mark(this.id, null);
    this.words();
  }

  async sign() {
    const [name, role, statement] = [this.who, this.role, this.statement].map((input) => input.value.trim());
    const reply = await this.put({ strokes: this.strokes, name, role, statement }, () => this.sign());
    if (reply.tell === "saved") { this.strokes = []; this.clear(); }
  }

  // --- common to both ---------------------------------------------------------------------

  slow(again) {
    this.tell(`NOT SAVED yet – ${noAnswer()}`, true);
    this.view.mark(this.id, again);
  }

  refused(why, again) {
    this.tell(`NOT SAVED – ${why}`, true);
    this.view.mark(this.id, again);
  }

  async put(what, again) {
    this.tell("saving…");
    const reply = await this.view.ask("picture", { field: this.spec.name, ...what }, () => this.slow(again));
    if (reply.tell !== "saved") {
      if (reply.needs === "who") this.view.desk.missing();
      this.refused(reply.why, again);
      return reply;
    }
    this.view.mark(this.id, null);
    if (this.caption) this.caption.value = "";
    this.accepted([], reply);
    this.view.say(`${this.spec.question}: saved ${reply.at}`);
    return reply;
  }

  accepted(_changes, reply) { this.show(reply.states[this.spec.name]); }

  latest(changes) { return changes; }

  conflict(state) { this.show(state); }

  restore() { /* a picture that was not sent is still on the camera */ }

  /** Taking a picture away is a correction: the file stays, the record shows why it no longer counts. */
  remove(picture) {
    const rest = named(this.state.value).filter((other) => other.line !== picture.line).map((other) => other.line);
    return this.reasonFor([{ field: this.spec.name, value: rest.join("\n"), seq: this.state.seq }], true);
  }

  async reasonFor(changes, atOnce = false) {
    if (this.whyPlace.childElementCount) return;
    const why = await askWhy(this.whyPlace, "Why does the picture no longer count?", "remove it", atOnce);
    if (why !== null) await this.save(changes, why);
    else this.words();
  }

  show(state) {
    if (state.seq < this.state.seq) return; // calculated before an entry that is already shown
    this.state = state;
    this.words();
  }

  words() {
    const pictures = named(this.state.value);
    const lines = pictures.map((picture) => picture.line).join("\n");
    if (lines !== this.listed) { // existing ones are kept: a button must not lose its focus because another card was redrawn
      this.listed = lines;
      this.list.replaceChildren(...pictures.map((picture, n) => this.item(picture, n)));
    }
    this.list.hidden = pictures.length === 0;
    this.problem.textContent = this.state.problem;
    this.node.classList.toggle("sk-is-bad", Boolean(this.state.problem));
    this.past.hidden = this.state.count === 0;
    this.tell(savedWords(this.state));
  }

  item(picture, n) {
    const image = el("img", { alt: picture.caption || `picture ${n + 1}: ${this.spec.question}` });
    const words = el("span", {}, picture.caption || picture.file);
    this.look(picture.file, image, words);
    return el("li", {}, image, words, button("remove", () => this.remove(picture), { class: "sk-small", "aria-label": `remove picture ${n + 1}: ${this.spec.question}` }));
  }

  async look(file, image, words) {
    if (!this.looked.has(file)) {
      const reply = await this.view.ask("look", { file });
      if (reply.tell !== "look") { this.listed = null; image.remove(); words.append(el("strong", { class: "sk-problem" }, ` ${reply.why}`)); return; }
      this.looked.set(file, reply.address);
    }
    image.src = this.looked.get(file);
  }
}
