// Pictures of what was drawn already, and small helpers of drawing.

/** A picture of lines that is kept until the sheet moves. */
class Plate {
  constructor() {
    this.canvas = document.createElement('canvas');
    this.context = this.canvas.getContext('2d');
    this.kept = document.createElement('canvas');
    this.drawn = 0;
    this.stale = true;
  }

  /** Draws until `goal` cuts are on the plate or the time is up; whether all are. */
  bring(sheet, goal, draw, until) {
    const view = sheet.view, own = this.view;
    const moved = !own || own.x !== view.x || own.y !== view.y || own.scale !== view.scale
      || this.canvas.width !== sheet.canvas.width || this.canvas.height !== sheet.canvas.height;
    if (moved || this.stale || goal < this.drawn) this.restart(sheet);
    while (this.drawn < goal) {
      const to = Math.min(goal, this.drawn + 100);
      draw(this, this.drawn, to);
      this.drawn = to;
      if (performance.now() > until) break;
    }
    const ready = this.drawn >= goal;
    if (ready) this.keptView = null;
    return ready;
  }

  restart(sheet) {
    if (this.view && !this.stale && !this.keptView) {
      // What was there stays in sight, moved along, until the new picture is ready.
      [this.canvas, this.kept] = [this.kept, this.canvas];
      this.context = this.canvas.getContext('2d');
      this.keptView = this.view;
    }
    this.canvas.width = sheet.canvas.width;
    this.canvas.height = sheet.canvas.height;
    this.context.setTransform(sheet.ratio, 0, 0, sheet.ratio, 0, 0);
    this.view = { ...sheet.view };
    this.drawn = 0;
    this.stale = false;
  }

  put(c, sheet) {
    if (this.keptView) {
      const { x, y, scale } = this.keptView, now = sheet.view, f = now.scale / scale;
      c.drawImage(this.kept, (x - now.x) * now.scale, (now.y - y) * now.scale,
        this.kept.width / sheet.ratio * f, this.kept.height / sheet.ratio * f);
      return;
    }
    c.drawImage(this.canvas, 0, 0, this.canvas.width / sheet.ratio, this.canvas.height / sheet.ratio);
  }
}

const overlap = (a, b) => a[0] <= b[2] && a[2] >= b[0] && a[1] <= b[3] && a[3] >= b[1];

/** 1, 2 or 5 times a power of ten, at least `least`. */
function niceStep(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map(f => f * power).find(step => step >= least * 0.999) || 10 * power;
}

const ruled = value => String(Number(value.toPrecision(8))).replace('-', '−');
