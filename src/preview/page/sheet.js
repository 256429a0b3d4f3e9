// The sheet: draws a job on a canvas, with rulers, and knows where on it a finger points.
// Lines already drawn are kept in pictures ("plates"), so that a frame costs little however many
// cuts there are: cuts that are done are added to their plate, a moved sheet is redrawn in slices.

const LOOKS = [
  { id: 'cut', name: 'Cut', colour: '--cut', width: 1.7, dash: [] },
  { id: 'travel', name: 'Travel, blade up', colour: '--travel', width: 1.3, dash: [7, 4] },
  { id: 'overcut', name: 'Overcut', colour: '--overcut', width: 5, dash: [] },
  { id: 'swing', name: 'Swings of the blade', colour: '--cut', width: 1.3, dash: [1.5, 2.5] },
  { id: 'weed', name: 'Weed border and lines', colour: '--weed', width: 1.7, dash: [10, 3, 2, 3] },
  { id: 'tip', name: 'Track of the blade’s tip', colour: '--tip', width: 0.9, dash: [] },
  { id: 'care', name: 'Places to weed with care', colour: '--ink', width: 2, dash: [3, 3] },
  { id: 'number', name: 'Numbers, in the order of cutting', colour: '--tip', width: 0, dash: [] },
  { id: 'score', name: 'Scored', colour: '--cut', width: 1.7, dash: [6, 2.5] },
  { id: 'draw', name: 'Drawn', colour: '--draw', width: 2.4, dash: [] },
  { id: 'turn', name: 'Cut in waste that turns the blade', colour: '--cut', width: 4, dash: [] },
];
const [DESIGN, MARK, WEED, DRAW, SCORE] = [0, 1, 2, 3, 4];
const LOOK = Object.fromEntries(LOOKS.map(look => [look.id, look]));
/** The look of what a cut is there for. */
const lookOf = cut => LOOK[{ [WEED]: 'weed', [DRAW]: 'draw', [SCORE]: 'score' }[cut.role] ?? 'cut'];
const [CUT, SWING, OVERCUT, ORIENT] = [0, 1, 2, 3];
/** Milliseconds of drawing in one frame. */
const SLICE = 9;
const RULER = 26;

class Sheet {
  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext('2d');
    this.shown = {};
    for (const look of LOOKS) this.shown[look.id] = true;
    this.hiddenLayers = new Set();
    this.unit = 'mm';
    this.time = 0;
    this.marked = null;
    this.hovered = -1;
    this.plates = { later: new Plate(), done: new Plate() };
    this.readColours();
  }

  readColours() {
    const style = getComputedStyle(document.documentElement);
    this.colours = {};
    for (const name of ['paper', 'ink', 'quiet', 'edge', 'ground', 'cut', 'travel', 'overcut', 'weed', 'draw', 'tip', 'later', 'focus']) {
      this.colours['--' + name] = style.getPropertyValue('--' + name).trim();
    }
    this.renew();
  }

  show(job, limits) {
    this.job = job;
    this.limits = limits;
    this.time = Math.min(this.time, job.time);
    this.renew();
  }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    const ratio = Math.min(3, window.devicePixelRatio || 1);
    const width = Math.max(1, Math.round(box.width * ratio)), height = Math.max(1, Math.round(box.height * ratio));
    if (this.canvas.width === width && this.canvas.height === height && this.view) return;
    const middle = this.view && this.toSheet(this.width / 2, this.height / 2);
    Object.assign(this, { ratio, width: box.width, height: box.height });
    this.canvas.width = width;
    this.canvas.height = height;
    if (this.view && !this.fitted) this.centre(middle.x, middle.y);
    else if (this.job) this.fit();
  }

  /** The whole job in sight. */
  fit() {
    const box = this.job.cuts.length ? this.job.bounds : [0, 0, 100, 100];
    const [left, bottom, right, top] = box;
    const w = Math.max(right - left, 1), h = Math.max(top - bottom, 1);
    const scale = Math.min((this.width - RULER - 40) / w, (this.height - RULER - 76) / h);
    this.view = { scale: Math.max(scale, 1e-3), x: 0, y: 0 };
    this.centre((left + right) / 2, (bottom + top) / 2 + 18 / this.view.scale);
    this.fitted = true;
  }

  centre(x, y) {
    const view = this.view;
    view.x = x - (this.width + RULER) / 2 / view.scale;
    view.y = y + (this.height - RULER) / 2 / view.scale;
    this.fitted = false;
    this.ask();
  }

  /** Moves the sheet by pixels. */
  move(dx, dy) {
    this.view.x -= dx / this.view.scale;
    this.view.y += dy / this.view.scale;
    this.fitted = false;
    this.ask();
  }

  /** Brings it `factor` times as close, the point under pixel (px, py) staying where it is. */
  zoom(factor, px = this.width / 2, py = this.height / 2) {
    const fixed = this.toSheet(px, py), view = this.view;
    view.scale = Math.min(4000, Math.max(0.01, view.scale * factor));
    view.x = fixed.x - px / view.scale;
    view.y = fixed.y + py / view.scale;
    this.fitted = false;
    this.ask();
  }

  toSheet(px, py) {
    return { x: this.view.x + px / this.view.scale, y: this.view.y - py / this.view.scale };
  }

  /** Everything is drawn anew. */
  renew() {
    this.plates.later.stale = this.plates.done.stale = true;
    this.ask();
  }

  ask() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => { this.asked = false; this.draw(); });
  }

  visible(cut) {
    return !this.hiddenLayers.has(cut.layer) && (lookOf(cut) === LOOK.cut || this.shown[lookOf(cut).id]);
  }

  draw() {
    if (!this.job || !this.view) return;
    const { context: c, ratio } = this, now = this.job.at(this.time);
    const everything = now.cut >= this.job.cuts.length;
    const { later, done } = this.plates;
    const until = performance.now() + SLICE;
    const drawLater = (plate, from, to) => this.drawSome(plate, from, to, true);
    const drawDone = (plate, from, to) => this.drawSome(plate, from, to, false);
    let ready = done.bring(this, now.cut, drawDone, until);
    if (!everything) ready = later.bring(this, this.job.cuts.length, drawLater, until) && ready;
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.fillStyle = this.colours['--paper'];
    c.fillRect(0, 0, this.width, this.height);
    this.drawLimits(c);
    if (!everything) later.put(c, this);
    done.put(c, this);
    this.drawNow(c, now, everything);
    if (this.shown.number) this.drawNumbers(c, now.cut + (now.down ? 1 : 0));
    this.drawMarked(c);
    this.drawRulers(c);
    this.canvas.dataset.settled = ready;
    if (!ready) this.ask();
  }

  pen(c, look, colour) {
    c.strokeStyle = this.colours[colour || look.colour];
    c.lineWidth = look.width;
    c.setLineDash(look.dash);
    c.lineCap = look.dash.length ? 'butt' : 'round';
    c.lineJoin = 'round';
  }

  /** Cuts `from` to `to` on a plate: as they are, or as still to come. */
  drawSome(plate, from, to, later) {
    const c = plate.context, window = this.window(60);
    const cuts = [];
    for (let i = from; i < to; i++) {
      const cut = this.job.cuts[i];
      if (this.visible(cut) && overlap(cut.box, window)) cuts.push(cut);
    }
    if (later) {
      if (!this.shown.cut) return;
      this.pen(c, { width: 0.9, dash: [] , colour: '--later' });
      c.beginPath();
      for (const cut of cuts) this.trace(c, cut.axis, 0, cut.axis.length / 2);
      c.stroke();
      return;
    }
    // Below the axis: it shows where the two differ.
    if (this.shown.tip) {
      this.pen(c, LOOK.tip);
      c.beginPath();
      for (const cut of cuts) if (cut.tip) this.trace(c, cut.tip, 0, cut.tip.length / 2);
      c.stroke();
    }
    this.drawParts(c, cuts);
    if (this.shown.travel) {
      this.pen(c, LOOK.travel);
      c.beginPath();
      for (let i = from; i < to; i++) {
        const { travel, travelBox } = this.job.cuts[i];
        if (overlap(travelBox, window)) this.trace(c, travel, 0, travel.length / 2);
      }
      c.stroke();
    }
  }

  /** The axis' lines, each stretch in the look of what it is for; `points` of the last cut only. */
  drawParts(c, cuts, points = Infinity) {
    const stretch = (look, kinds, own) => {
      if (!this.shown[look.id]) return;
      this.pen(c, look);
      c.beginPath();
      for (const cut of cuts) {
        if (own && lookOf(cut) !== own) continue;
        const last = cut === cuts[cuts.length - 1] ? points : Infinity;
        if (!cut.parts.length) { if (kinds.includes(CUT)) this.trace(c, cut.axis, 0, 1); continue; }
        let at = 0;
        for (let r = 0; r < cut.parts.length && at < last; r += 2) {
          const end = at + cut.parts[r + 1];
          if (kinds.includes(cut.parts[r])) this.trace(c, cut.axis, at, Math.min(end + 1, last));
          at = end;
        }
      }
      c.stroke();
    };
    const { cut, overcut, swing, weed, score, draw, turn } = LOOK;
    stretch(overcut, [OVERCUT]);
    stretch(swing, [SWING]);
    stretch(turn, [ORIENT]);
    for (const look of [draw, score, cut, weed]) stretch(look, [CUT], look);
  }

  /** Adds points `from` to `to` of a line to the path, leaving out what the screen cannot show. */
  trace(c, line, from, to) {
    if (to <= from) return;
    const { scale, x, y } = this.view;
    let lastX = (line[2 * from] - x) * scale, lastY = (y - line[2 * from + 1]) * scale;
    c.moveTo(lastX, lastY);
    if (to === from + 1) { c.lineTo(lastX + 0.01, lastY); return; }
    for (let i = from + 1; i < to; i++) {
      const px = (line[2 * i] - x) * scale, py = (y - line[2 * i + 1]) * scale;
      if (i < to - 1 && Math.abs(px - lastX) < 0.6 && Math.abs(py - lastY) < 0.6) continue;
      c.lineTo(px, py);
      lastX = px;
      lastY = py;
    }
  }

  /** What is in sight, mm, with some pixels more. */
  window(more = 0) {
    const a = this.toSheet(-more, this.height + more), b = this.toSheet(this.width + more, -more);
    return [a.x, a.y, b.x, b.y];
  }

  /** The cut or move that is being made, and the tool. */
  drawNow(c, now, everything) {
    const cut = this.job.cuts[now.cut];
    const travel = cut ? cut.travel : this.job.lastTravel;
    const to = now.down || !travel.length ? null : along(travel, now.part);
    if (this.shown.travel && travel.length) {
      this.pen(c, LOOK.travel);
      c.beginPath();
      this.trace(c, travel, 0, to ? to.points : travel.length / 2);
      if (to) c.lineTo((to.x - this.view.x) * this.view.scale, (this.view.y - to.y) * this.view.scale);
      c.stroke();
    }
    if (everything && now.part >= 1) return;
    let head = to;
    if (now.down) {
      head = along(cut.axis, now.part);
      if (this.visible(cut)) this.drawBegun(c, cut, now.part, head);
    }
    if (head) this.drawTool(c, head, now.down);
  }

  drawBegun(c, cut, part, head) {
    this.drawParts(c, [cut], head.points);
    const end = 2 * Math.min(head.points - 1, cut.axis.length / 2 - 1);
    if (this.shown.cut) {
      this.pen(c, lookOf(cut));
      c.beginPath();
      this.trace(c, new Float64Array([cut.axis[end], cut.axis[end + 1], head.x, head.y]), 0, 2);
      c.stroke();
    }
    if (this.shown.tip && cut.tip) {
      const tip = tipAt(cut, head);
      this.pen(c, LOOK.tip);
      c.beginPath();
      this.trace(c, cut.tip, 0, tipReached(cut, part));
      c.lineTo((tip.x - this.view.x) * this.view.scale, (this.view.y - tip.y) * this.view.scale);
      c.stroke();
      // The blade itself: from its tip to its axis.
      this.pen(c, { width: 3, dash: [], colour: '--focus' });
      c.beginPath();
      this.trace(c, new Float64Array([tip.x, tip.y, head.x, head.y]), 0, 2);
      c.stroke();
    }
  }

  /** A ring is a lifted tool, a filled one a lowered tool. */
  drawTool(c, at, down) {
    const x = (at.x - this.view.x) * this.view.scale, y = (this.view.y - at.y) * this.view.scale;
    c.setLineDash([]);
    c.beginPath();
    c.arc(x, y, 6, 0, 2 * Math.PI);
    c.lineWidth = 2;
    c.strokeStyle = this.colours['--focus'];
    c.fillStyle = down ? this.colours['--focus'] : this.colours['--paper'];
    c.globalAlpha = down ? 0.55 : 1;
    c.fill();
    c.globalAlpha = 1;
    c.stroke();
  }

  /** Numbers at the starts of the first `count` cuts, where they do not overlap. */
  drawNumbers(c, count) {
    const window = this.window(), taken = new Set(), { scale, x, y } = this.view;
    c.font = '600 11px system-ui, sans-serif';
    c.textBaseline = 'alphabetic';
    c.textAlign = 'left';
    c.setLineDash([]);
    c.lineWidth = 3.5;
    c.lineJoin = 'round';
    c.strokeStyle = this.colours['--paper'];
    c.fillStyle = this.colours['--ink'];
    let written = 0;
    for (let i = 0; i < Math.min(count, this.job.cuts.length) && written < 600; i++) {
      const cut = this.job.cuts[i], line = cut.tip || cut.axis;
      if (line[0] < window[0] || line[0] > window[2] || line[1] < window[1] || line[1] > window[3]) continue;
      if (!this.visible(cut)) continue;
      const px = (line[0] - x) * scale + 3, py = (y - line[1]) * scale - 3, text = String(i + 1);
      const cells = Math.ceil((text.length * 7 + 6) / 14), cx = Math.floor(px / 14), cy = Math.floor(py / 14);
      const own = [];
      for (let dx = -1; dx <= cells; dx++) for (let dy = -1; dy <= 1; dy++) own.push((cx + dx) + ',' + (cy + dy));
      if (own.some(cell => taken.has(cell))) continue;
      own.forEach(cell => taken.add(cell));
      c.strokeText(text, px, py);
      c.fillText(text, px, py);
      written++;
    }
  }

  drawMarked(c) {
    const { scale, x, y } = this.view;
    const cut = this.job.cuts[this.hovered];
    if (cut) {
      this.pen(c, { width: 4, dash: [], colour: '--focus' });
      c.globalAlpha = 0.55;
      c.beginPath();
      this.trace(c, cut.tip || cut.axis, 0, (cut.tip || cut.axis).length / 2);
      c.stroke();
      c.globalAlpha = 1;
    }
    if (this.shown.care) this.drawCare(c);
    if (!this.marked) return;
    const px = (this.marked.x - x) * scale, py = (y - this.marked.y) * scale;
    this.pen(c, { width: 3, dash: [], colour: '--focus' });
    c.beginPath();
    c.arc(px, py, 18, 0, 2 * Math.PI);
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      c.moveTo(px + dx * 18, py + dy * 18);
      c.lineTo(px + dx * 30, py + dy * 30);
    }
    c.stroke();
  }

  /** Rings round what findings name as hard to weed. */
  drawCare(c) {
    const { scale, x, y } = this.view, [left, bottom, right, top] = this.window(20);
    this.pen(c, LOOK.care);
    c.beginPath();
    for (const place of this.job.care) {
      if (place[0] < left || place[0] > right || place[1] < bottom || place[1] > top) continue;
      const px = (place[0] - x) * scale, py = (y - place[1]) * scale;
      c.moveTo(px + 11, py);
      c.arc(px, py, 11, 0, 2 * Math.PI);
    }
    c.stroke();
  }

  /** What the machine reaches. */
  drawLimits(c) {
    if (!this.limits) return;
    const [left, bottom, right, top] = this.limits, { scale, x, y } = this.view;
    c.setLineDash([]);
    c.lineWidth = 1;
    c.strokeStyle = this.colours['--edge'];
    c.strokeRect((left - x) * scale, (y - top) * scale, (right - left) * scale, (top - bottom) * scale);
  }

  drawRulers(c) {
    const { width, height } = this, { scale, x, y } = this.view;
    const mm = this.unit === 'in' ? 25.4 : 1, step = niceStep(68 / scale / mm);
    const foot = height - RULER;
    c.setLineDash([]);
    c.fillStyle = this.colours['--ground'];
    c.fillRect(0, 0, RULER, height);
    c.fillRect(0, foot, width, RULER);
    c.strokeStyle = this.colours['--quiet'];
    c.fillStyle = this.colours['--ink'];
    c.lineWidth = 1;
    c.font = '11px system-ui, sans-serif';
    c.beginPath();
    const ticks = 5, each = step / ticks;
    c.textAlign = 'center';
    c.textBaseline = 'bottom';
    for (let i = Math.ceil((x + RULER / scale) / mm / each); ; i++) {
      const px = Math.round((i * each * mm - x) * scale) + 0.5;
      if (px > width) break;
      const big = i % ticks === 0;
      c.moveTo(px, foot);
      c.lineTo(px, foot + (big ? 9 : 5));
      if (big && px > RULER + 14) c.fillText(ruled(i / ticks * step), px, height - 2);
    }
    c.textBaseline = 'bottom';
    for (let i = Math.ceil((y - foot / scale) / mm / each); ; i++) {
      const py = Math.round((y - i * each * mm) * scale) + 0.5;
      if (py < 0) break;
      const big = i % ticks === 0;
      c.moveTo(RULER, py);
      c.lineTo(RULER - (big ? 9 : 5), py);
      if (!big || py > foot - 12) continue;
      c.save();
      c.translate(RULER - 9, py);
      c.rotate(-Math.PI / 2);
      c.fillText(ruled(i / ticks * step), 0, -1);
      c.restore();
    }
    c.stroke();
    c.textAlign = 'center';
    c.textBaseline = 'middle';
    c.fillStyle = this.colours['--quiet'];
    c.fillRect(0, foot, RULER, RULER);
    c.fillStyle = this.colours['--paper'];
    c.fillText(this.unit, RULER / 2, foot + RULER / 2);
  }

  /** The cut nearest to a pixel, at most 9 pixels away; -1 for none. */
  near(px, py) {
    const at = this.toSheet(px, py), reach = 9 / this.view.scale;
    let best = reach * reach, found = -1;
    for (const cut of this.job.cuts) {
      const box = cut.box;
      if (at.x < box[0] - reach || at.x > box[2] + reach || at.y < box[1] - reach || at.y > box[3] + reach) continue;
      if (!this.visible(cut)) continue;
      const line = cut.tip || cut.axis;
      for (let i = 0; i < line.length; i += 2) {
        const j = Math.max(0, i - 2), ax = line[j], ay = line[j + 1], bx = line[i] - ax, by = line[i + 1] - ay;
        const square = bx * bx + by * by;
        const f = square ? Math.min(1, Math.max(0, ((at.x - ax) * bx + (at.y - ay) * by) / square)) : 0;
        const d = (at.x - ax - f * bx) ** 2 + (at.y - ay - f * by) ** 2;
        if (d < best) { best = d; found = cut.index; }
      }
    }
    return found;
  }
}
