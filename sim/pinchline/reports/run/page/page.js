"use strict";
// Draws the playback and the plots of the page from the numbers in it. Asks for nothing.
(() => {
  const jobs = JSON.parse(document.getElementById("jobs").textContent);
  const SVG = "http://www.w3.org/2000/svg";
  const CLASSES = 6;
  const NO_VALUE = -32768;
  const SECONDS = 14; // of a playback from end to end

  function make(name, attributes, parent, text) {
    const node = document.createElementNS(SVG, name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    if (parent) parent.appendChild(node);
    return node;
  }

  function html(name, attributes, parent, text) {
    const node = document.createElement(name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    if (parent) parent.appendChild(node);
    return node;
  }

  // rows of numbers from 16-bit steps in base64
  function unpack(packed) {
    const raw = Uint8Array.from(atob(packed.data), (c) => c.charCodeAt(0));
    const view = new DataView(raw.buffer);
    const rows = [];
    for (let at = 0; at < raw.length; at += 2 * packed.columns) {
      const row = new Float64Array(packed.columns);
      for (let i = 0; i < row.length; i++) {
        const step = view.getInt16(at + 2 * i, true);
        row[i] = step === NO_VALUE ? NaN : packed.zero + packed.step * step;
      }
      rows.push(row);
    }
    return rows;
  }

  const known = (value) => value !== null && Number.isFinite(value);
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  function format(value, units) {
    if (!known(value)) return ["none", ""];
    return units.map(([unit, size, decimals]) => {
      const text = (value / size).toFixed(decimals);
      return `${/^-0\.?0*$/.test(text) ? text.slice(1) : text} ${unit}`;
    });
  }

  const radius = (k, units) =>
    !known(k) ? "none" : Math.abs(k) < 1e-5 ? "flat" : format(1 / k, units).join(", ");

  // row of the sorted list nearest to the value
  function nearest(list, value) {
    let low = 0;
    let high = list.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (list[middle] <= value) low = middle;
      else high = middle;
    }
    return value - list[low] <= list[high] - value ? low : high;
  }

  function extent(lists) {
    let low = Infinity;
    let high = -Infinity;
    for (const list of lists)
      for (const value of list)
        if (known(value)) {
          low = Math.min(low, value);
          high = Math.max(high, value);
        }
    return low <= high ? [low, high] : [0, 1];
  }

  function ticks(low, high, count) {
    const rough = (high - low) / count || 1;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough * 0.999);
    const list = [];
    for (let i = Math.ceil(low / step - 1e-9); i * step <= high + 1e-9 * step; i++)
      list.push(i * step);
    return [list, Math.max(0, -Math.floor(Math.log10(step) + 1e-9))];
  }

  // path through points; a missing one interrupts it
  function path(xs, ys, toX, toY) {
    let d = "";
    let pen = "M";
    for (let i = 0; i < xs.length; i++) {
      if (!known(xs[i]) || !known(ys[i])) pen = "M";
      else {
        d += `${pen}${toX(xs[i]).toFixed(1)} ${toY(ys[i]).toFixed(1)}`;
        pen = "L";
      }
    }
    return d;
  }

  // a picture that is drawn again when its width changes
  class Picture {
    constructor(box) {
      this.box = box;
      this.width = 0;
      new ResizeObserver(() => this.resize()).observe(box);
    }
    resize() {
      const width = Math.floor(this.box.clientWidth);
      if (!width || width === this.width) return;
      this.width = width;
      this.box.replaceChildren();
      this.svg = make("svg", {}, this.box);
      this.draw();
      this.update();
    }
    sized(height, label) {
      this.height = height;
      this.svg.setAttribute("viewBox", `0 0 ${this.width} ${height}`);
      this.svg.setAttribute("role", "img");
      this.svg.setAttribute("aria-label", label);
    }
    onPoint(tell) {
      const at = (event) => {
        const frame = this.svg.getBoundingClientRect();
        const share = this.width / frame.width;
        tell((event.clientX - frame.left) * share, (event.clientY - frame.top) * share);
      };
      this.svg.addEventListener("pointermove", (event) => {
        if (event.pointerType === "mouse" || event.buttons) at(event);
      });
      this.svg.addEventListener("pointerdown", at);
    }
  }

  // curves over one axis, with a cursor; `spec` tells what they are
  class Plot extends Picture {
    constructor(box, spec) {
      super(box);
      this.spec = spec;
    }
    draw() {
      const { head, across, lines, x, flats } = this.spec;
      const keys = lines.filter((line) => line.name);
      const perRow = this.width < 420 ? 1 : 2;
      const rows = Math.ceil(keys.length / perRow);
      const top = 24 + 15 * rows;
      const bottom = top + (this.spec.tall || 130);
      this.sized(bottom + (across ? 34 : 20), head);
      const [left, right] = [46, this.width - 10];
      const [first, last] = extent([x]);
      let [low, high] = extent(lines.map((line) => line.y));
      if (this.spec.zero) [low, high] = [Math.min(low, 0), Math.max(high, 0)];
      const room = 0.08 * (high - low) || 1;
      [low, high] = [low < 0 ? low - room : low, high + room];
      this.toX = (v) => left + ((v - first) / (last - first || 1)) * (right - left);
      this.toY = (v) => bottom - ((v - low) / (high - low)) * (bottom - top);
      this.fromX = (px) => first + ((px - left) / (right - left)) * (last - first);
      this.span = [top, bottom];
      for (const [start, end] of flats || [])
        make("rect", { class: "flat", x: this.toX(start), y: top, width: Math.max(0, this.toX(end) - this.toX(start)), height: bottom - top }, this.svg);
      const axis = { class: "axis", x1: left, x2: right, y1: bottom, y2: bottom };
      const [ys, decimalsY] = ticks(low, high, (bottom - top) / 34);
      for (const value of ys) {
        const y = this.toY(value);
        make("line", { class: "grid", x1: left, x2: right, y1: y, y2: y }, this.svg);
        make("text", { x: left - 5, y: y + 4, "text-anchor": "end" }, this.svg, value.toFixed(decimalsY));
      }
      const [xs, decimalsX] = ticks(first, last, this.width / 80);
      for (const value of xs) {
        const tick = this.toX(value);
        make("line", { class: "grid", x1: tick, x2: tick, y1: top, y2: bottom }, this.svg);
        make("text", { x: tick, y: bottom + 14, "text-anchor": "middle" }, this.svg, value.toFixed(decimalsX));
      }
      make("line", axis, this.svg);
      make("text", { class: "head", x: 0, y: 13 }, this.svg, head);
      make("text", { class: "far", x: (left + right) / 2, y: bottom + 29, "text-anchor": "middle" }, this.svg, across);
      keys.forEach((line, i) => {
        const at = left + (i % perRow) * ((right - left) / perRow);
        const y = 27 + 15 * Math.floor(i / perRow);
        make("path", { class: `curve line-${line.role}`, d: `M${at} ${y}h24` }, this.svg);
        make("text", { x: at + 30, y: y + 4 }, this.svg, line.name);
      });
      this.drawn = lines.map((line) =>
        make("path", { class: `curve line-${line.role}`, d: path(line.x || x, line.y, this.toX, this.toY) }, this.svg));
      this.at = make("line", { class: "at", y1: top, y2: bottom }, this.svg);
      this.dots = lines.map(() => make("circle", { class: "dot", r: 3.5 }, this.svg));
      this.onPoint((px) => this.spec.pick(clamp(this.fromX(px), first, last)));
    }
    update() {
      if (!this.svg) return;
      const value = this.spec.where();
      const shown = known(value);
      this.at.style.display = shown ? "" : "none";
      if (shown) {
        this.at.setAttribute("x1", this.toX(value));
        this.at.setAttribute("x2", this.toX(value));
      }
      this.spec.lines.forEach((line, i) => {
        const xs = line.x || this.spec.x;
        const ys = line.live ? line.live() : line.y;
        if (line.live) this.drawn[i].setAttribute("d", path(xs, ys, this.toX, this.toY));
        const y = shown ? ys[nearest(xs, value)] : null;
        this.dots[i].style.display = known(y) && !line.still ? "" : "none";
        if (known(y)) {
          this.dots[i].setAttribute("cx", this.toX(value));
          this.dots[i].setAttribute("cy", this.toY(y));
        }
      });
    }
  }

  // rolls and sheet from the side, drawn to scale
  class Side extends Picture {
    constructor(box, player) {
      super(box);
      this.player = player;
      const { frames, x, y, job } = player;
      const reach = (axis) => extent(frames.rolls.map((frame) =>
        frame.flatMap((roll, i) => [roll[axis] - job.radii[i], roll[axis] + job.radii[i]])));
      const both = (a, b) => [Math.min(a[0], b[0]), Math.max(a[1], b[1])];
      this.x = both(extent(x), reach(0));
      this.y = both(extent(y), reach(1));
      const pushes = ["force_upper", "force_lower", "force_rear"].map((name) => frames[name]);
      this.largest = Math.max(extent(pushes)[1], 1e-9);
    }
    draw() {
      const { job } = this.player;
      const [wide, high] = [this.x[1] - this.x[0], this.y[1] - this.y[0]];
      const margin = 14;
      const limit = Math.max(300, 0.8 * this.width);
      this.scale = Math.min((this.width - 2 * margin) / wide, (limit - 2 * margin) / high);
      this.sized(Math.ceil(this.scale * high + 2 * margin + 18), "Rolls and sheet from the side, to scale");
      const left = (this.width - this.scale * wide) / 2;
      this.toX = (v) => left + (v - this.x[0]) * this.scale;
      this.toY = (v) => margin + (this.y[1] - v) * this.scale;
      make("line", { class: "nipline", x1: this.toX(0), x2: this.toX(0), y1: 2, y2: this.height - 18 }, this.svg);
      this.rolls = job.radii.map((r) => {
        const group = make("g", {}, this.svg);
        make("circle", { class: "roll", r: r * this.scale }, group);
        make("path", { class: "centre", d: "M-5 0H5M0-5V5" }, group);
        return group;
      });
      this.parts = Array.from({ length: CLASSES }, (_, i) =>
        make("path", { class: `bend bend-${i}`, style: bendStyle(i, job.thickness * this.scale) }, this.svg));
      this.pushes = job.radii.map(() => [
        make("path", { class: "push" }, this.svg),
        make("path", { class: "push-head" }, this.svg),
      ]);
      this.rings = ["ring-in", "ring"].map((name) => make("circle", { class: name, r: 7 }, this.svg));
      const base = this.height - 5;
      make("text", { class: "far", x: 6, y: base }, this.svg, "operator");
      make("text", { class: "far", x: this.width - 6, y: base, "text-anchor": "end" }, this.svg, "rear");
      const power = 10 ** Math.floor(Math.log10(wide / 4));
      const bar = power * [5, 2, 1].find((m) => m * power <= wide / 4);
      make("path", { class: "push", d: `M${this.width / 2 - (bar * this.scale) / 2} ${base - 4}h${bar * this.scale}` }, this.svg);
      make("text", { x: this.width / 2 + (bar * this.scale) / 2 + 6, y: base }, this.svg, `${bar} mm`);
      this.onPoint((px, py) => this.player.pickPoint((px - left) / this.scale + this.x[0], this.y[1] - (py - margin) / this.scale));
    }
    update() {
      if (!this.svg) return;
      const { job, frames, frame, x, y, curvature } = this.player;
      frames.rolls[frame].forEach(([cx, cy], i) =>
        this.rolls[i].setAttribute("transform", `translate(${this.toX(cx)} ${this.toY(cy)})`));
      this.drawSheet(x[frame], y[frame], curvature[frame], job.edges);
      ["force_upper", "force_lower", "force_rear"].forEach((name, i) =>
        this.drawPush(i, frames[name][frame], frames.contacts[frame][i], frames.rolls[frame][i]));
      const place = this.player.node();
      for (const ring of this.rings) {
        ring.setAttribute("cx", this.toX(x[frame][place]));
        ring.setAttribute("cy", this.toY(y[frame][place]));
      }
    }
    // one path for each class of bend, through the elements that are of it
    drawSheet(x, y, curvature, edges) {
      const parts = Array(CLASSES).fill("");
      let last = -1;
      for (let i = 1; i < x.length; i++) {
        const k = Math.max(Math.abs(curvature[i - 1]), Math.abs(curvature[i]));
        if (!known(x[i]) || !known(x[i - 1])) {
          last = -1;
          continue;
        }
        let group = 0;
        while (group < edges.length && k >= edges[group]) group++;
        if (group !== last)
          parts[group] += `M${this.toX(x[i - 1]).toFixed(2)} ${this.toY(y[i - 1]).toFixed(2)}`;
        parts[group] += `L${this.toX(x[i]).toFixed(2)} ${this.toY(y[i]).toFixed(2)}`;
        last = group;
      }
      parts.forEach((d, i) => this.parts[i].setAttribute("d", d));
    }
    // arrow from the roll's centre side, its head where the roll pushes the sheet
    drawPush(i, force, contact, centre) {
      const [shaft, head] = this.pushes[i];
      const shown = force > 0 && known(contact[0]);
      shaft.style.display = head.style.display = shown ? "" : "none";
      if (!shown) return;
      const size = Math.hypot(contact[0] - centre[0], contact[1] - centre[1]) || 1;
      const [ux, uy] = [(contact[0] - centre[0]) / size, -(contact[1] - centre[1]) / size];
      const [px, py] = [this.toX(contact[0]), this.toY(contact[1])];
      const long = 7 + 46 * (force / this.largest);
      shaft.setAttribute("d", `M${px - ux * long} ${py - uy * long}L${px - ux * 5} ${py - uy * 5}`);
      head.setAttribute("d", `M${px} ${py}l${-8 * ux - 3.5 * uy} ${-8 * uy + 3.5 * ux}l${7 * uy} ${-7 * ux}z`);
    }
  }

  // heavier as well as of another colour, so that it can be read without colour
  const bendStyle = (i, thick) =>
    `stroke:var(--bend${i});stroke-width:${(Math.max(thick, 1.6) + 1.3 * i).toFixed(1)}`;

  class Player {
    constructor(root, job) {
      Object.assign(this, { root, job, frames: job.frames, frame: 0, timer: 0 });
      this.count = job.frames.step.length;
      for (const name of ["x", "y", "curvature"]) this[name] = unpack(job.frames[name]);
      this.s = job.length / 2;
      this.find = (selector) => root.querySelector(selector);
      this.side = new Side(this.find(".side"), this);
      this.plots = this.makePlots();
      this.makeLegend();
      this.makeMoves();
      this.wire();
      this.show(0);
    }
    makePlots() {
      const { job, frames } = this;
      const { trace, sheet } = job;
      const inStep = (head, lines, tall, across) => ({
        head, tall, across, x: trace.travel, zero: true,
        lines: lines.map(([role, name]) => ({ role, name, y: trace[role] })),
        where: () => frames.travel[this.frame],
        pick: (value) => this.go(nearest(frames.travel, value)),
      });
      const along = (head, lines, flats) => ({
        head, lines, flats, x: sheet.s, zero: true, tall: 170, across: "s from the operator's edge, mm",
        where: () => this.s, pick: (value) => pickPlace(value),
      });
      const level = (role, name, value) => ({ role, name, still: true, x: [0, job.length], y: [value, value] });
      const specs = {
        pinch: inStep("Pinch rolls, N per mm of width", [["force_upper", "upper roll"], ["force_lower", "lower roll"]]),
        rear: inStep("Rear roll and drive, N per mm of width", [["force_rear", "rear roll"], ["drive_force", "drive, + to the rear"]]),
        lift: inStep("Lift of the rear roll, mm", [["lift", ""]], 80, "travel of sheet and rear roll, added up, mm"),
        curvature: along("Curvature, 1/mm", [
          { role: "now", name: "now, in the rolls", x: frames.s, y: [], live: () => this.curvature[this.frame] },
          { role: "loaded", name: "largest, under the rolls", y: sheet.loaded },
          { role: "residual", name: "residual, once free", y: sheet.residual },
          level("bound", `wrap bound, R ${(1 / job.bound).toFixed(1)} mm`, job.bound),
        ]),
        moment: along("Largest moment / first-yield moment", [
          { role: "moment", name: "largest moment ever", y: sheet.moment },
          level("bound", "first yield", 1),
        ], belowYield(sheet, job.length)),
      };
      return [...this.root.querySelectorAll(".plot")].map((box) => new Plot(box, specs[box.dataset.plot]));
    }
    makeLegend() {
      const [unit] = this.job.units.length;
      const radii = this.job.edges.map((k) => (1 / k).toPrecision(2)).map(Number);
      const words = radii.map((r, i) => (i ? `${r} to ${radii[i - 1]}` : `over ${r}`));
      words.push(`under ${radii[radii.length - 1]}`);
      words.forEach((text, i) => {
        const item = html("span", {}, this.find(".legend"));
        const svg = make("svg", { width: 30, height: 14, "aria-hidden": "true" }, item);
        make("path", { d: "M1 7H29", style: bendStyle(i, 0) }, svg);
        item.append(`${text} ${unit[0]}`);
      });
    }
    makeMoves() {
      const { move } = this.frames;
      const box = this.find(".moves");
      this.moves = [...new Set(move)].map((number) => {
        const first = move.indexOf(number);
        const last = move.lastIndexOf(number);
        const words = this.job.moves[number - 1] || "";
        const grow = Math.max(1, last - first);
        const button = html("button", { type: "button", style: `flex-grow:${grow}`, title: `${number} ${words}`, "aria-label": `Move ${number}: ${words}` }, box);
        button.append(String(number));
        html("span", { class: "words" }, button, ` ${words}`);
        button.addEventListener("click", () => this.go(first));
        return { number, first, last, button };
      });
    }
    wire() {
      this.scrub = this.find(".scrub");
      this.scrub.max = this.count - 1;
      this.scrub.addEventListener("input", () => this.go(Number(this.scrub.value)));
      const does = { play: () => this.toggle(), back: () => this.go(this.frame - 1), on: () => this.go(this.frame + 1) };
      for (const button of this.root.querySelectorAll("[data-do]"))
        button.addEventListener("click", does[button.dataset.do]);
      this.place = this.find(".place");
      this.place.max = this.job.length;
      this.place.addEventListener("input", () => pickPlace(Number(this.place.value)));
      this.root.addEventListener("keydown", (event) => this.key(event));
      for (const button of this.root.closest("article").querySelectorAll(".go"))
        button.addEventListener("click", () => {
          this.go(nearest(this.frames.step, Number(button.dataset.step)));
          this.root.scrollIntoView({ block: "start" });
        });
    }
    key(event) {
      if (event.altKey || event.ctrlKey || event.metaKey || event.target.matches("input")) return;
      const beside = (way) => {
        const at = this.moves.findIndex((move) => this.frame <= move.last) + way;
        return this.moves[clamp(at, 0, this.moves.length - 1)].first;
      };
      const does = {
        ArrowLeft: () => this.go(this.frame - 1), ArrowRight: () => this.go(this.frame + 1),
        Home: () => this.go(0), End: () => this.go(this.count - 1),
        PageUp: () => this.go(beside(-1)), PageDown: () => this.go(beside(1)),
      };
      if (!event.target.matches("button")) does[" "] = () => this.toggle();
      if (!does[event.key]) return;
      event.preventDefault();
      does[event.key]();
    }
    toggle() {
      if (this.timer) return this.pause();
      if (this.frame === this.count - 1) this.go(0);
      const every = clamp((1000 * SECONDS) / this.count, 40, 250);
      this.timer = setInterval(() => {
        if (this.frame >= this.count - 1) this.pause();
        else this.go(this.frame + 1, true);
      }, every);
      this.find("[data-do=play]").textContent = "Pause";
    }
    pause() {
      clearInterval(this.timer);
      this.timer = 0;
      this.find("[data-do=play]").textContent = "Play";
    }
    // go to a frame; whoever goes by hand ends the playing
    go(frame, playing) {
      if (!playing && this.timer) this.pause();
      this.show(frame);
      follow(this);
    }
    show(frame) {
      this.frame = clamp(frame, 0, this.count - 1);
      this.root.dataset.frame = this.frame;
      this.root.dataset.step = this.frames.step[this.frame];
      this.scrub.value = this.frame;
      this.update();
    }
    update() {
      const at = this.frame;
      const number = this.frames.move[at];
      for (const move of this.moves) move.button.setAttribute("aria-current", move.number === number);
      const words = `${number}  ${this.job.moves[number - 1] || ""}`;
      this.find(".where").textContent = `${words} (step ${this.frames.step[at]})`;
      this.scrub.setAttribute("aria-valuetext", words);
      this.read();
      this.tellPlace();
      for (const picture of [this.side, ...this.plots]) picture.update();
    }
    read() {
      const { length, line_force: force, force: hand } = this.job.units;
      const rows = [
        ["lift", "lift", length], ["nip", "on the nip line, s", length],
        ["force_upper", "upper roll, per width", force], ["force_lower", "lower roll", force],
        ["force_rear", "rear roll", force], ["drive_force", "drive, + to the rear", force],
        ["hand_force", "hand at the crank", hand],
      ];
      const box = this.find(".readouts tbody");
      box.replaceChildren();
      for (const [name, words, units] of rows) {
        const row = html("tr", { "data-name": name }, box);
        html("th", { scope: "row" }, row, words);
        for (const text of format(this.frames[name][this.frame], units)) html("td", {}, row, text);
      }
    }
    node() {
      return nearest(this.frames.s, this.s);
    }
    tellPlace() {
      const { sheet, units, moves } = this.job;
      const at = nearest(sheet.s, this.s);
      const move = sheet.move[at];
      this.place.value = this.s;
      this.root.dataset.s = this.s;
      const ratio = sheet.moment[at];
      const says = {
        "s": format(this.s, units.length).join(", "),
        "radius now": radius(this.curvature[this.frame][this.node()], units.length),
        "sharpest under the rolls": radius(sheet.loaded[at], units.length),
        "once free": radius(sheet.residual[at], units.length),
        "largest moment": known(ratio) ? `${ratio.toFixed(2)} of first yield` : "none",
        "made by": move ? `${move} ${moves[move - 1] || ""}` : "no move",
      };
      const box = this.find(".there");
      box.replaceChildren();
      for (const name in says) {
        const cell = html("div", {}, box);
        html("dt", {}, cell, name);
        html("dd", {}, cell, says[name]);
      }
    }
    // place of the sheet nearest to a point of the machine
    pickPoint(px, py) {
      const [x, y] = [this.x[this.frame], this.y[this.frame]];
      let best = 0;
      let least = Infinity;
      for (let i = 0; i < x.length; i++) {
        const away = (x[i] - px) ** 2 + (y[i] - py) ** 2;
        if (away < least) [best, least] = [i, away];
      }
      pickPlace(this.frames.s[best]);
    }
  }

  // stretches of the sheet that never reached first yield
  function belowYield(sheet, length) {
    const flats = [];
    let start = 0;
    sheet.moment.forEach((ratio, i) => {
      const edge = i ? (sheet.s[i] + sheet.s[i - 1]) / 2 : 0;
      if (ratio < 1 && start === null) start = edge;
      if (ratio >= 1 && start !== null) {
        if (edge > start) flats.push([start, edge]);
        start = null;
      }
    });
    if (start !== null) flats.push([start, length]);
    return flats;
  }

  const players = [];

  function pickPlace(s) {
    for (const player of players) {
      player.s = clamp(s, 0, player.job.length);
      player.tellPlace();
      for (const picture of [player.side, ...player.plots]) picture.update();
    }
  }

  // where jobs play together, the others go to the same share of the same move
  function follow(leader) {
    const together = document.getElementById("together");
    if (!together || !together.checked) return;
    const move = leader.moves.find((one) => leader.frame <= one.last);
    const share = (leader.frame - move.first) / (move.last - move.first || 1);
    for (const player of players) {
      if (player === leader) continue;
      const same = player.moves.find((one) => one.number === move.number);
      player.show(same ? Math.round(same.first + share * (same.last - same.first)) : player.count - 1);
    }
  }

  for (const root of document.querySelectorAll(".player"))
    if (root.querySelector(".side")) players.push(new Player(root, jobs[root.dataset.job]));

  addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details")) details.open = true;
  });
})();
