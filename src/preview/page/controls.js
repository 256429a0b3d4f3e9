// What can be pressed, chosen and read around the sheet.

const $ = id => document.getElementById(id);
const DATA = JSON.parse($('data').textContent);
const JOBS = DATA.jobs.map(data => new Job(data));
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
  return DATA.layers[cut.layer] ? 'layer “' + DATA.layers[cut.layer] + '”' : 'cut';
}

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
    small.pen(c, { ...LOOKS[1], width: 1.2, dash: one.cuts.length > 2000 ? [] : [5, 3] });
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
  $('summary').textContent = `${count(job.cuts.length)} cuts, ${length(width)} wide and ${length(height)} high.${lasts}${meant ? ` For: ${meant}.` : ''}`
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
    swing: () => JOBS.some(j => j.cuts.some(cut => hasPart(cut, SWING) || hasPart(cut, ORIENT))),
    weed: () => JOBS.some(j => j.cuts.some(cut => cut.role === WEED)),
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

// Playing ------------------------------------------------------------------------------------

function tellNow(quietly) {
  const now = job.at(sheet.time), done = job.lengthAt(sheet.time), n = job.cuts.length;
  $('way').value = Math.round(10000 * (job.length ? done / job.length : 1));
  const part = `${length(done)} of ${length(job.length)}`;
  $('way').setAttribute('aria-valuetext', part + ' cut');
  const when = job.timed ? `, ${clock(sheet.time)} of ${duration(job.time)}` : '';
  let text;
  if (sheet.time >= job.time) text = `The whole job: ${n} cuts, ${length(job.length)} cut${job.timed ? ', ' + duration(job.time) : ''}.`;
  else if (now.cut >= n) text = `Last travel, ${part} cut${when}.`;
  else text = `${now.down ? 'Cut' : 'On the way to cut'} ${now.cut + 1} of ${n}: ${what(job.cuts[now.cut])}; ${part} cut${when}.`;
  // While it plays, a screen reader is not told each frame.
  $('status').setAttribute('aria-live', playing && !quietly ? 'off' : 'polite');
  if ($('status').textContent !== text) $('status').textContent = text;
  $('back').disabled = sheet.time <= 0;
  $('on').disabled = sheet.time >= job.time;
  markRow(now.cut);
}

function go(time) {
  sheet.time = Math.min(job.time, Math.max(0, time));
  sheet.ask();
  tellNow();
}

function play() {
  if (sheet.time >= job.time) sheet.time = 0;
  playing = true;
  lastFrame = 0;
  $('play').textContent = 'Stop';
  requestAnimationFrame(frame);
}

function stop() {
  playing = false;
  $('play').textContent = 'Play';
}

function frame(stamp) {
  if (!playing) return;
  const passed = lastFrame ? (stamp - lastFrame) / 1000 : 0;
  if (calm.matches) {
    // Reduced motion: whole cuts, a few a second.
    if (!lastFrame || passed > 0.4) {
      lastFrame = stamp;
      const now = job.at(sheet.time), next = Math.min(job.cuts.length, now.cut + Math.max(1, Math.round(job.cuts.length / 60)));
      go(next >= job.cuts.length ? job.time : job.cuts[next].t1);
    }
  } else {
    lastFrame = stamp;
    go(sheet.time + Math.min(passed, 0.1) * Number($('speed').value));
  }
  if (sheet.time < job.time) { requestAnimationFrame(frame); return; }
  stop();
  tellNow(true);
  // Drawn at once, lines lie over one another as they do when nothing was played.
  sheet.renew();
}

function toggle() {
  if (playing) { stop(); tellNow(true); } else play();
}

/** Steps to the end of the next cut, or to the end of the one before. */
function step(by) {
  stop();
  const cuts = job.cuts, now = job.at(sheet.time);
  if (by > 0) go(now.cut >= cuts.length - 1 ? job.time : cuts[now.cut].t2);
  else {
    const whole = now.cut - (sheet.time >= job.time ? 1 : now.part > 0 && now.down ? 1 : 2);
    go(whole < 0 ? 0 : sheet.time >= job.time && whole === cuts.length - 1 && cuts.length > 1 ? cuts[whole - 1].t2 : cuts[whole].t2);
  }
}

function buildSpeeds() {
  for (const speed of SPEEDS) {
    const name = job.timed ? (speed === 1 ? 'as the machine' : speed < 1 ? 'a quarter' : speed + ' times') : speed * PACE + ' mm/s';
    $('speed').append(element('option', name, { value: speed }));
  }
  // At first the whole job takes about half a minute.
  const wanted = job.time / 30;
  $('speed').value = SPEEDS.find(speed => speed >= wanted) || SPEEDS[SPEEDS.length - 1];
}

// The table ----------------------------------------------------------------------------------

function buildRows() {
  const cuts = job.cuts.slice(firstRow, firstRow + ROWS);
  $('rows').replaceChildren(...cuts.map(cut => {
    const line = cut.tip || cut.axis, row = element('tr', '', { 'data-cut': cut.index });
    row.append(element('th', String(cut.index + 1), { scope: 'row' }));
    for (const text of [what(cut), place(line[0], line[1]), length(cut.length), length(cut.travelLength), cut.endByte > cut.byte ? `${cut.byte} to ${cut.endByte}` : String(cut.byte)]) {
      row.append(element('td', text));
    }
    const cell = element('td'), button = element('button', 'Go there', { type: 'button', 'aria-label': 'Go to cut ' + (cut.index + 1) });
    button.addEventListener('click', () => goToCut(cut));
    cell.append(button);
    row.append(cell);
    return row;
  }));
  const n = job.cuts.length;
  $('range').textContent = n ? `Cuts ${firstRow + 1} to ${Math.min(n, firstRow + ROWS)} of ${n}` : 'No cuts';
  $('earlier').disabled = firstRow === 0;
  $('later').disabled = firstRow + ROWS >= n;
  markRow(job.at(sheet.time).cut);
}

function goToCut(cut) {
  stop();
  const [left, bottom, right, top] = cut.box;
  sheet.marked = null;
  sheet.hovered = cut.index;
  const scale = Math.min(sheet.width / Math.max(right - left, 2), sheet.height / Math.max(top - bottom, 2)) * 0.5;
  if (sheet.view.scale < scale / 4 || sheet.view.scale > scale) sheet.view.scale = scale;
  sheet.centre((left + right) / 2, (bottom + top) / 2);
  go(cut.t2);
}

function markRow(index) {
  for (const row of $('rows').querySelectorAll('[aria-current]')) row.removeAttribute('aria-current');
  if (sheet.time >= job.time) return;
  const row = $('rows').querySelector(`[data-cut="${index}"]`);
  if (row) row.setAttribute('aria-current', 'true');
}

function turnPage(by) {
  firstRow = Math.max(0, Math.min(firstRow + by * ROWS, Math.floor((job.cuts.length - 1) / ROWS) * ROWS));
  buildRows();
}

// Hands on the sheet -------------------------------------------------------------------------

const fingers = new Map();

function pointer() {
  const canvas = $('sheet');
  const at = event => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  canvas.addEventListener('pointerdown', event => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, at(event));
    canvas.classList.add('held');
  });
  canvas.addEventListener('pointermove', event => {
    const now = at(event), before = fingers.get(event.pointerId);
    if (!before) { hover(now); return; }
    const other = [...fingers].find(([id]) => id !== event.pointerId);
    if (other) {
      const fixed = other[1], reach = p => Math.hypot(p.x - fixed.x, p.y - fixed.y);
      if (reach(before) > 5 && reach(now) > 5) sheet.zoom(reach(now) / reach(before), fixed.x, fixed.y);
    } else {
      sheet.move(now.x - before.x, now.y - before.y);
    }
    fingers.set(event.pointerId, now);
  });
  const lift = event => {
    fingers.delete(event.pointerId);
    if (!fingers.size) canvas.classList.remove('held');
  };
  canvas.addEventListener('pointerup', lift);
  canvas.addEventListener('pointercancel', lift);
  canvas.addEventListener('pointerleave', () => hover(null));
  canvas.addEventListener('wheel', event => {
    event.preventDefault();
    const p = at(event), lines = event.deltaMode === 1 ? 20 : 1;
    sheet.zoom(Math.exp(-Math.max(-240, Math.min(240, event.deltaY * lines)) * 0.0022), p.x, p.y);
  }, { passive: false });
}

let hoverAsked = null;
function hover(point) {
  const asked = hoverAsked !== null;
  hoverAsked = point || false;
  if (!asked) requestAnimationFrame(() => { const p = hoverAsked; hoverAsked = null; showHover(p); });
}

function showHover(point) {
  const found = point ? sheet.near(point.x, point.y) : -1, tag = $('hover');
  if (found !== sheet.hovered) { sheet.hovered = found; sheet.ask(); }
  tag.hidden = found < 0;
  if (found < 0) return;
  const cut = job.cuts[found];
  tag.textContent = `Cut ${found + 1}: ${what(cut)}, ${length(cut.length)} long, from byte ${cut.byte} on`;
  tag.style.left = Math.min(point.x + 14, Math.max(0, sheet.width - 280)) + 'px';
  tag.style.top = Math.max(0, point.y + (point.y > sheet.height - 80 ? -70 : 16)) + 'px';
}

function keys(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const far = event.shiftKey ? 200 : 50;
  const acts = {
    ArrowLeft: () => sheet.move(far, 0), ArrowRight: () => sheet.move(-far, 0),
    ArrowUp: () => sheet.move(0, far), ArrowDown: () => sheet.move(0, -far),
    '+': () => sheet.zoom(1.3), '=': () => sheet.zoom(1.3), '-': () => sheet.zoom(1 / 1.3),
    '0': wholeJob, ' ': toggle, ',': () => step(-1), '.': () => step(1),
    Home: () => { stop(); go(0); }, End: () => { stop(); go(job.time); },
  };
  const act = acts[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}

function wholeJob() {
  sheet.marked = null;
  sheet.hovered = -1;
  sheet.fit();
}

async function copy() {
  const text = job.data.command;
  try {
    await navigator.clipboard.writeText(text);
    $('copied').textContent = 'Copied.';
  } catch {
    // Some browsers refuse it for pages from disk: mark the text for the person to copy.
    getSelection().selectAllChildren($('command'));
    $('copied').textContent = document.execCommand('copy') ? 'Copied.' : 'Marked: copy it with the keyboard.';
  }
}

function connect() {
  $('play').addEventListener('click', toggle);
  $('back').addEventListener('click', () => step(-1));
  $('on').addEventListener('click', () => step(1));
  $('way').addEventListener('input', () => { stop(); go(job.timeAtLength(job.length * $('way').value / 10000)); });
  $('closer').addEventListener('click', () => sheet.zoom(1.4));
  $('farther').addEventListener('click', () => sheet.zoom(1 / 1.4));
  $('whole').addEventListener('click', wholeJob);
  $('copy').addEventListener('click', copy);
  $('earlier').addEventListener('click', () => turnPage(-1));
  $('later').addEventListener('click', () => turnPage(1));
  $('unit').addEventListener('change', () => { sheet.unit = $('unit').value; sheet.ask(); tellAll(); buildOrders(); });
  $('sheet').addEventListener('keydown', keys);
  pointer();
  const recolour = () => { sheet.readColours(); drawOrders(); };
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', recolour);
  new ResizeObserver(() => { sheet.resize(); sheet.ask(); drawOrders(); }).observe($('mat'));
  addEventListener('beforeprint', printed);
  addEventListener('afterprint', () => { document.documentElement.removeAttribute('data-print'); sheet.readColours(); });
}

/** Paper is light, whatever the screen is: colours and picture are made for it at once. */
function printed() {
  stop();
  document.documentElement.setAttribute('data-print', '');
  sheet.readColours();
  for (let i = 0; i < 2000; i++) {
    sheet.draw();
    if (sheet.canvas.dataset.settled === 'true') break;
  }
}

sheet.time = job.cuts ? job.time : 0;
sheet.show(job, DATA.limits);
sheet.resize();
buildSpeeds();
buildFilms();
buildLooks();
tellAll();
buildOrders();
buildSaid();
connect();
