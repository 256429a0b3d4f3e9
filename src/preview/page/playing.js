// Playing the job, and the table of its cuts.

// Playing ------------------------------------------------------------------------------------

function tellNow(quietly) {
  const now = job.at(sheet.time), done = job.lengthAt(sheet.time), n = job.cuts.length;
  $('way').value = Math.round(10000 * (job.length ? done / job.length : 1));
  const part = `${length(done)} of ${length(job.length)}`;
  $('way').setAttribute('aria-valuetext', part + ' cut');
  const when = job.timed ? `, ${clock(sheet.time)} of ${duration(job.time)}` : '';
  let text;
  if (sheet.time >= job.time) text = `The whole job: ${cutsOf(n)}, ${length(job.length)} cut${job.timed ? ', ' + duration(job.time) : ''}.`;
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
