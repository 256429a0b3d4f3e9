// Hands on the sheet: pointer, fingers, wheel and keys; then everything is connected and begins.

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
