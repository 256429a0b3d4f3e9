'use strict';
// The data of the page: unpacks the cuts (see pack.rs), and knows where the tool is at any time.

/** A job's cuts as flat arrays; lengths in mm, times in s. */
class Job {
  /** `packed` is the element that holds the job's cuts. */
  constructor(data, packed) {
    this.data = data;
    this.packed = packed;
    this.report = data.report;
    this.care = data.care;
  }

  /** Unpacks on first use: a page may carry several large jobs. */
  get cuts() {
    if (!this.unpacked) this.unpack();
    return this.unpacked;
  }

  unpack() {
    const reader = new Reader(this.packed.textContent);
    const cuts = [];
    let byte = 0, clock = 0, done = 0, end = 0;
    const timed = this.report.time_s !== null;
    for (let i = 0; i < this.data.cuts; i++) {
      const cut = { index: i, role: reader.unsigned(), layer: reader.unsigned() - 1, tool: reader.unsigned() };
      cut.byte = byte + reader.signed();
      cut.endByte = byte = cut.byte + reader.unsigned();
      const start = (clock += reader.signed()), stop = (clock += reader.signed());
      cut.travel = reader.line();
      cut.axis = reader.line();
      cut.parts = reader.parts();
      cut.tip = reader.line();
      if (!cut.tip.length) cut.tip = null;
      cut.travelLength = lengthOf(cut.travel);
      cut.length = lengthOf(cut.axis);
      cut.before = done;
      done += cut.length;
      cut.t0 = end;
      cut.t1 = timed ? start / 1000 : end + cut.travelLength / PACE;
      cut.t2 = timed ? stop / 1000 : cut.t1 + cut.length / PACE;
      end = cut.t2;
      cut.box = boxOf(cut.axis, cut.tip);
      cut.travelBox = boxOf(cut.travel, null);
      cuts.push(cut);
    }
    this.lastTravel = reader.line();
    this.lastBox = boxOf(this.lastTravel, null);
    this.time = timed ? Math.max(this.report.time_s, end) : end + lengthOf(this.lastTravel) / PACE;
    this.timed = timed;
    this.length = done;
    this.unpacked = cuts;
    this.bounds = cuts.reduce((box, cut) => joined(box, cut.box), [Infinity, Infinity, -Infinity, -Infinity]);
  }

  /** What the tool does at time `t`: { cut, down, part } with `part` 0 to 1 of that line. */
  at(t) {
    const cuts = this.cuts;
    let low = 0, high = cuts.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (cuts[middle].t2 > t) high = middle; else low = middle + 1;
    }
    if (low === cuts.length) {
      const from = low ? cuts[low - 1].t2 : 0;
      return { cut: low, down: false, part: share(t, from, this.time) };
    }
    const cut = cuts[low];
    if (t < cut.t1) return { cut: low, down: false, part: share(t, cut.t0, cut.t1) };
    return { cut: low, down: true, part: share(t, cut.t1, cut.t2) };
  }

  /** The time at which so much has been cut, mm. */
  timeAtLength(length) {
    const cuts = this.cuts;
    if (length >= this.length - 1e-9) return this.time;
    let low = 0, high = cuts.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (cuts[middle].before + cuts[middle].length > length) high = middle; else low = middle + 1;
    }
    const cut = cuts[low];
    if (!cut) return 0;
    return cut.t1 + (cut.t2 - cut.t1) * share(length, cut.before, cut.before + cut.length);
  }

  lengthAt(t) {
    const now = this.at(t), cut = this.cuts[now.cut];
    if (!cut) return this.length;
    return cut.before + (now.down ? now.part * cut.length : 0);
  }
}

/** mm in a second where the machine's own times are unknown. */
const PACE = 100;
const share = (x, from, to) => (to > from ? Math.min(1, Math.max(0, (x - from) / (to - from))) : 1);

class Reader {
  constructor(text) {
    this.bytes = Uint8Array.from(atob(text), c => c.charCodeAt(0));
    this.at = 0;
    this.x = this.y = 0;
  }
  unsigned() {
    let value = 0, factor = 1, byte;
    do {
      byte = this.bytes[this.at++];
      value += (byte & 127) * factor;
      factor *= 128;
    } while (byte > 127);
    return value;
  }
  signed() {
    const folded = this.unsigned();
    return folded % 2 ? -(folded + 1) / 2 : folded / 2;
  }
  /** x0, y0, x1, y1 … in mm. */
  line() {
    const line = new Float64Array(2 * this.unsigned());
    for (let i = 0; i < line.length; i += 2) {
      line[i] = (this.x += this.signed()) / 1000;
      line[i + 1] = (this.y += this.signed()) / 1000;
    }
    return line;
  }
  /** Runs of edges: kind, count, kind, count … */
  parts() {
    const runs = new Array(2 * this.unsigned());
    for (let i = 0; i < runs.length; i++) runs[i] = this.unsigned();
    return runs;
  }
}

function lengthOf(line) {
  let sum = 0;
  for (let i = 2; i < line.length; i += 2) sum += Math.hypot(line[i] - line[i - 2], line[i + 1] - line[i - 1]);
  return sum;
}

function boxOf(...lines) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const line of lines) {
    for (let i = 0; line && i < line.length; i += 2) {
      if (line[i] < box[0]) box[0] = line[i];
      if (line[i] > box[2]) box[2] = line[i];
      if (line[i + 1] < box[1]) box[1] = line[i + 1];
      if (line[i + 1] > box[3]) box[3] = line[i + 1];
    }
  }
  return box;
}

const joined = (a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[2], b[2]), Math.max(a[3], b[3])];

/** The point `part` (0 to 1) of the way along `line`, and how many points lie before it. */
function along(line, part) {
  let left = part * lengthOf(line);
  for (let i = 2; i < line.length; i += 2) {
    const step = Math.hypot(line[i] - line[i - 2], line[i + 1] - line[i - 1]);
    if (step >= left && step > 0) {
      const f = left / step;
      return { x: line[i - 2] + f * (line[i] - line[i - 2]), y: line[i - 1] + f * (line[i + 1] - line[i - 1]), points: i / 2 };
    }
    left -= step;
  }
  return { x: line[line.length - 2], y: line[line.length - 1], points: line.length / 2 };
}

/**
 * How many points of the tip's line lie behind it when the axis has gone `part` of its own: a blade
 * keeps its distance to the axis, so each tip position belongs to the next axis position at that
 * distance.
 */
function tipReached(cut, part) {
  const { axis, tip } = cut;
  const d2 = (axis[0] - tip[0]) ** 2 + (axis[1] - tip[1]) ** 2;
  if (!cut.tipAt) {
    const at = new Float64Array(tip.length / 2);
    let edge = 2, from = 0, gone = 0;
    for (let k = 1; k < at.length; k++) {
      const start = { edge, from, gone };
      let found = false;
      while (edge < axis.length && !found) {
        const ax = axis[edge - 2], ay = axis[edge - 1], bx = axis[edge] - ax, by = axis[edge + 1] - ay;
        const a = bx * bx + by * by, px = ax - tip[2 * k], py = ay - tip[2 * k + 1];
        const b = px * bx + py * by, root = b * b - a * (px * px + py * py - d2);
        if (a > 0 && root > -0.002 * a) {
          const r = Math.sqrt(Math.max(0, root)), slack = 0.03 / Math.sqrt(a);
          // Of the two places at that distance the one where the axis moves away: it pulls the tip.
          const u = (-b + r) / a;
          if (u >= from - slack && u <= 1 + slack) { from = Math.min(1, Math.max(from, u)); at[k] = gone + from * Math.sqrt(a); found = true; continue; }
        }
        gone += Math.sqrt(a);
        edge += 2;
        from = 0;
      }
      // Rounding hid the place: it belongs where the one before does.
      if (!found) { ({ edge, from, gone } = start); at[k] = at[k - 1]; }
    }
    cut.tipAt = at;
  }
  const way = part * cut.length;
  let k = 0;
  while (k < cut.tipAt.length && cut.tipAt[k] <= way) k++;
  return Math.max(k, 1);
}

/**
 * Where the tip is when the axis has gone along its line to `head`. A blade pulled straight by s
 * turns towards the pull: the tangent of half its angle shrinks by exp(−s / offset) (the tractrix;
 * Huygens 1693). The same law as in the simulation, so it ends where the simulated tip ends.
 */
function tipAt(cut, head) {
  const { axis, tip } = cut;
  const d = Math.hypot(axis[0] - tip[0], axis[1] - tip[1]);
  let heading = Math.atan2(axis[1] - tip[1], axis[0] - tip[0]);
  for (let i = 1; i <= head.points && d > 0; i++) {
    const here = i === head.points, x = here ? head.x : axis[2 * i], y = here ? head.y : axis[2 * i + 1];
    const dx = x - axis[2 * i - 2], dy = y - axis[2 * i - 1], way = Math.hypot(dx, dy);
    if (!way) continue;
    const pull = Math.atan2(dy, dx);
    heading = pull + 2 * Math.atan(Math.tan((heading - pull) / 2) * Math.exp(-way / d));
  }
  return { x: head.x - d * Math.cos(heading), y: head.y - d * Math.sin(heading) };
}
