// What can be pressed, chosen and read around the sheet.

const $ = id => document.getElementById(id);
const DATA = JSON.parse($('data').textContent);
const PACKED = document.querySelectorAll('script.packed');
const JOBS = DATA.jobs.map((data, i) => new Job(data, PACKED[i]));
const SPEEDS = [0.25, 1, 4, 16, 64, 256];
const ROWS = 20;
const SVG = 'http://www.w3.org/2000/svg';

const sheet = new Sheet($('sheet'));
let job = JOBS[DATA.start] || JOBS[0];
let playing = false, lastFrame = 0, firstRow = 0;
let calm = matchMedia('(prefers-reduced-motion: reduce)');

// Words and figures --------------------------------------------------------------------------

function length(mm) {
  if (sheet.unit === 'in') return (mm / 25.4).toFixed(2) + ' in';
  return mm < 1000 ? mm.toFixed(1) + ' mm' : (mm / 1000).toFixed(2) + ' m';
}

function duration(seconds) {
  const whole = Math.round(seconds), two = n => String(n).padStart(2, '0');
  if (whole < 60) return whole + ' s';
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${two(whole % 60)} s`;
  return `${Math.floor(whole / 3600)} h ${two(Math.floor(whole % 3600 / 60))} min`;
}

const percent = share => (share >= 0 ? '+' : '−') + Math.abs(share * 100).toFixed(1) + ' %';
const clock = seconds => seconds < 60 ? seconds.toFixed(1) + ' s' : duration(seconds);
const place = (x, y) => sheet.unit === 'in'
  ? minus(`${(x / 25.4).toFixed(3)}, ${(y / 25.4).toFixed(3)} in`) : minus(`${x.toFixed(2)}, ${y.toFixed(2)} mm`);
const count = n => n.toLocaleString('en');
const cutsOf = n => `${count(n)} ${n === 1 ? 'cut' : 'cuts'}`;
const minus = text => text.replaceAll('-', '−');

function element(tag, text, attributes = {}) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}

function what(cut) {
  if (cut.parts.length && cut.parts.every((kind, i) => i % 2 || kind === ORIENT)) return 'turns the blade in waste';
  if (cut.role === WEED) return 'weed cut';
  if (cut.role === MARK) return 'registration mark';
  const done = { [DRAW]: 'drawn', [SCORE]: 'scored' }[cut.role];
  const layer = DATA.layers[cut.layer] ? 'layer “' + DATA.layers[cut.layer] + '”' : '';
  const tool = severalTools() ? 'tool ' + cut.tool : '';
  return [layer, done ?? (layer ? '' : 'cut'), tool].filter(word => word).join(', ');
}

const severalTools = () => new Set(job.cuts.map(cut => cut.tool)).size > 1;

// Film and order -----------------------------------------------------------------------------

const films = [...new Set(JOBS.map(j => j.data.film))];
const ofFilm = film => JOBS.filter(j => j.data.film === film);

function choose(next, whole) {
  stop();
  const length = job.lengthAt(sheet.time), everything = sheet.time >= job.time || !job.length;
  job = next;
  sheet.hovered = -1;
  sheet.marked = null;
  sheet.time = everything ? job.time : job.timeAtLength(length);
  sheet.show(job, DATA.limits);
  if (whole) sheet.fit();
  firstRow = 0;
  tellAll();
}

function buildFilms() {
  if (films.length < 2) return;
  $('films').hidden = false;
  for (const film of films) $('film').append(element('option', film, { value: film }));
  $('film').addEventListener('change', () => {
    choose(ofFilm($('film').value).find(j => j.data.order === job.data.order) || ofFilm($('film').value)[0], true);
    buildOrders();
    buildSaid();
  });
}

function buildOrders() {
  const all = ofFilm(job.data.film);
  $('ordersbox').hidden = all.length < 2;
  // Jobs from anywhere have no command, and may be for other work altogether.
  if (!job.data.command) {
    $('ordershead').textContent = 'Jobs side by side';
    $('ordersabout').textContent = 'They need not be for the same work.';
    $('orders').setAttribute('aria-label', 'Job');
  }
  $('orders').replaceChildren();
  if (all.length < 2) return;
  const first = all[0].report, most = Math.max(...all.map(j => j.report.travel_mm), 1e-9);
  for (const one of all) {
    const label = element('label'), r = one.report;
    const radio = element('input', '', { type: 'radio', name: 'order', value: one.data.order });
    radio.checked = one === job;
    radio.addEventListener('change', () => choose(one, false));
    const picture = element('canvas', '', { 'aria-hidden': 'true' });
    const change = r === first ? '' : ` (${percent(r.travel_mm / first.travel_mm - 1)})`;
    const words = element('p');
    words.append(element('b', 'Travel ' + length(r.travel_mm) + change), `, cut ${length(r.cut_mm)}, ${r.lifts} lifts`);
    if (r.time_s !== null) words.append(', ' + duration(r.time_s));
    const bar = document.createElementNS(SVG, 'svg');
    bar.setAttribute('class', 'bar');
    bar.setAttribute('height', '6');
    bar.setAttribute('width', '100%');
    bar.setAttribute('aria-hidden', 'true');
    const rect = document.createElementNS(bar.namespaceURI, 'rect');
    rect.setAttribute('width', (100 * r.travel_mm / most) + '%');
    rect.setAttribute('height', '6');
    rect.style.fill = 'var(--travel)';
    bar.append(rect);
    label.append(radio, element('b', one.data.order), picture, bar, words);
    const floor = one.data.floor_chosen_mm;
    if (floor) label.append(element('p', `From line to line, no order with these starts is below ${length(floor)}.`, { class: 'small' }));
    $('orders').append(label);
    one.picture = picture;
  }
  drawOrders();
}

/** Small pictures of the travel alone, all to the same scale. */
function drawOrders() {
  for (const one of ofFilm(job.data.film)) {
    if (!one.picture || !one.picture.isConnected) continue;
    const box = one.picture.getBoundingClientRect();
    if (!box.width) continue;
    const small = new Sheet(one.picture);
    small.resize();
    const { ratio } = small, c = small.context;
    const bounds = one.bounds, w = Math.max(bounds[2] - bounds[0], 1), h = Math.max(bounds[3] - bounds[1], 1);
    const scale = Math.min((small.width - 16) / w, (small.height - 16) / h);
    small.job = one;
    small.view = {
      scale, x: (bounds[0] + bounds[2]) / 2 - small.width / 2 / scale,
      y: (bounds[1] + bounds[3]) / 2 + small.height / 2 / scale,
    };
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.fillStyle = small.colours['--paper'];
    c.fillRect(0, 0, small.width, small.height);
    small.pen(c, { width: 0.7, dash: [], colour: '--later' });
    c.beginPath();
    for (const cut of one.cuts) small.trace(c, cut.axis, 0, cut.axis.length / 2);
    c.stroke();
    small.pen(c, { ...LOOK.travel, width: 1.2, dash: one.cuts.length > 2000 ? [] : [5, 3] });
    c.beginPath();
    for (const cut of one.cuts) small.trace(c, cut.travel, 0, cut.travel.length / 2);
    small.trace(c, one.lastTravel, 0, one.lastTravel.length / 2);
    c.stroke();
    // Nothing more is drawn on it by itself.
    small.job = null;
  }
}

// The job in figures -------------------------------------------------------------------------

function tellAll() {
  job.cuts;
  const r = job.report, [width, height] = r.sheet_mm;
  $('title').textContent = DATA.title + (job.data.film ? ' — ' + job.data.film : '');
  const meant = [DATA.machine, DATA.material].filter(name => name).join('; ');
  const lasts = r.time_s === null ? '' : ` It takes about ${duration(r.time_s)}.`;
  $('summary').textContent = `${cutsOf(job.cuts.length)}, ${length(width)} wide and ${length(height)} high.${lasts}${meant ? ` For: ${meant}.` : ''}`
    + ' Everything here is what the bytes of the job make the machine do.';
  const list = $('totals');
  list.replaceChildren();
  const row = (name, key, value, text, more) => {
    const dd = element('dd', text, { 'data-key': key, 'data-value': value });
    if (more) dd.append(element('small', more));
    list.append(element('dt', name), dd);
  };
  row('Contours', 'contours', r.contours, count(r.contours));
  row('Cut', 'cut_mm', r.cut_mm, length(r.cut_mm));
  const floor = job.data.floor_any_mm;
  row('Travel', 'travel_mm', r.travel_mm, length(r.travel_mm), floor ? `from line to line, no order is below ${length(floor)}` : '');
  row('Lifts', 'lifts', r.lifts, count(r.lifts));
  if (r.time_s !== null) {
    const line = r.line_s !== null && r.line_s > r.motion_s;
    row('Time', 'time_s', r.time_s, duration(r.time_s), line ? 'the serial line sets the pace' : '');
  }
  if (DATA.feed) row('Roll used', 'roll_mm', DATA.feed === 'x' ? width : height, length(DATA.feed === 'x' ? width : height));
  if (r.tip_error_mm !== null) {
    row('Tip off its line', 'tip_error_mm', r.tip_error_mm, 'at most ' + r.tip_error_mm.toFixed(3) + ' mm');
  }
  row('Job', 'bytes', r.bytes, count(r.bytes) + ' bytes');
  $('commandbox').hidden = !job.data.command;
  $('command').textContent = job.data.command;
  $('copied').textContent = '';
  tellNow(true);
  buildRows();
}

function buildSaid() {
  const list = $('said'), all = job.report.findings;
  $('saidbox').hidden = !all.length;
  list.replaceChildren();
  const names = { note: 'Note', warning: 'Warning', error: 'Error' };
  for (const finding of all) {
    const item = element('li');
    const where = finding.row ? ` (row ${finding.row}, column ${finding.column})` : '';
    item.append(element('span', names[finding.severity] + ': ', { class: 'kind' }), finding.text + where + ' ');
    if (finding.hint) item.append(element('span', finding.hint, { class: 'small' }));
    if (finding.x_mm !== undefined && finding.y_mm !== undefined) {
      const show = element('button', 'Show it', { type: 'button', 'aria-label': 'Show it on the sheet: ' + finding.text });
      show.addEventListener('click', () => showPlace(finding.x_mm, finding.y_mm));
      item.append(show);
    }
    list.append(item);
  }
}

function showPlace(x, y) {
  sheet.marked = { x, y };
  const [left, bottom, right, top] = job.bounds;
  const near = 4 / Math.max(right - left, top - bottom, 1) * Math.min(sheet.width, sheet.height);
  if (sheet.view.scale < near) sheet.view.scale = near;
  sheet.centre(x, y);
  $('mat').scrollIntoView({ block: 'nearest', behavior: calm.matches ? 'auto' : 'smooth' });
  $('status').textContent = 'Shown: ' + place(x, y);
}

// What is shown ------------------------------------------------------------------------------

function buildLooks() {
  const has = {
    travel: () => true, cut: () => true, number: () => true,
    overcut: () => JOBS.some(j => j.cuts.some(cut => hasPart(cut, OVERCUT))),
    swing: () => JOBS.some(j => j.cuts.some(cut => hasPart(cut, SWING))),
    turn: () => JOBS.some(j => j.cuts.some(cut => hasPart(cut, ORIENT))),
    care: () => JOBS.some(j => j.care.length),
    weed: () => JOBS.some(j => j.cuts.some(cut => cut.role === WEED)),
    score: () => JOBS.some(j => j.cuts.some(cut => cut.role === SCORE)),
    draw: () => JOBS.some(j => j.cuts.some(cut => cut.role === DRAW)),
    tip: () => JOBS.some(j => j.cuts.some(cut => cut.tip)),
  };
  for (const look of LOOKS) {
    if (!has[look.id]()) continue;
    const label = element('label'), box = element('input', '', { type: 'checkbox', id: 'show-' + look.id });
    box.checked = true;
    box.addEventListener('change', () => { sheet.shown[look.id] = box.checked; sheet.renew(); });
    label.append(box, sample(look), look.name);
    const item = element('li');
    item.append(label);
    $('looks').append(item);
  }
  buildLayers();
}

const hasPart = (cut, kind) => cut.parts.some((k, i) => i % 2 === 0 && k === kind);

function buildLayers() {
  const used = new Set(JOBS.flatMap(j => j.cuts.map(cut => cut.layer)).filter(layer => layer >= 0));
  if (used.size < 2) return;
  $('layers').append(element('h3', 'Layers'));
  const list = element('ul', '', { class: 'layers' });
  for (const layer of [...used].sort((a, b) => a - b)) {
    const label = element('label'), box = element('input', '', { type: 'checkbox' });
    box.checked = true;
    box.addEventListener('change', () => {
      if (box.checked) sheet.hiddenLayers.delete(layer); else sheet.hiddenLayers.add(layer);
      sheet.renew();
    });
    label.append(box, DATA.layers[layer] || `layer ${layer + 1}`);
    const item = element('li');
    item.append(label);
    list.append(item);
  }
  $('layers').append(list);
}

/** A short piece of the line, as it looks on the sheet. */
function sample(look) {
  const svg = document.createElementNS(SVG, 'svg');
  svg.setAttribute('width', '34');
  svg.setAttribute('height', '14');
  svg.setAttribute('aria-hidden', 'true');
  const shape = document.createElementNS(svg.namespaceURI, look.width ? 'path' : 'text');
  if (look.width) {
    shape.setAttribute('d', 'M1 7H33');
    shape.setAttribute('stroke-width', Math.max(1, look.width));
    shape.setAttribute('stroke-dasharray', look.dash.join(' '));
    shape.style.stroke = `var(${look.colour})`;
  } else {
    shape.textContent = '1 2 3';
    shape.setAttribute('x', '2');
    shape.setAttribute('y', '11');
    shape.setAttribute('font-size', '11');
    shape.style.fill = 'currentColor';
  }
  svg.append(shape);
  return svg;
}
