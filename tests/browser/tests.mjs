// What the preview page must do in a real browser. `check --json` and a small job worked out by
// hand are the outside measure for its figures.

import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';

const EMBLEM = 'wheel-emblem.svg', TAGS = 'price-tags.svg', DECAL = 'frame-decal.svg';
const ORDERS = { 'As drawn': 'drawn', 'Always the nearest': 'nearest', 'The best found': 'best' };

const figure = (page, key) => page.locator(`[data-key=${key}]`).getAttribute('data-value').then(Number);
const status = page => page.locator('#status').textContent();
const slide = (page, value) => page.locator('#way').evaluate((way, value) => {
  way.value = value;
  way.dispatchEvent(new Event('input', { bubbles: true }));
}, value);

/** A square of 20 mm and a line of 40 mm: 120 mm to cut, the line from 2000,0 to 3600,0 units. */
const SMALL = 'IN;SP1;PU400,400;PD1200,400,1200,1200,400,1200,400,400;PU2000,0;PD3600,0;PU0,0;';

function job(tools, name, text) {
  const path = `${tools.work}/${name}`;
  writeFileSync(path, text);
  return path;
}

/** WCAG 2.2, "relative luminance" and "contrast ratio". */
function contrast(a, b) {
  const light = hex => {
    const part = i => {
      const c = parseInt(hex.slice(i, i + 2), 16) / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    };
    return 0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5);
  };
  const [low, high] = [light(a), light(b)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
}

export const tests = {
  async 'opens from disk, says nothing and asks for nothing'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    await slide(page, 4000);
    await page.click('#play');
    await page.waitForTimeout(300);
    await t.shot(page, 'emblem');
    assert.deepEqual(page.heard, []);
  },

  async 'its policy stops what does not belong to it'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const ran = await page.evaluate(() => {
      const script = document.createElement('script');
      script.textContent = 'window.intruder = true';
      document.body.append(script);
      return Boolean(window.intruder);
    });
    assert.equal(ran, false);
    assert.match(page.heard.join(), /Content Security Policy/);
  },

  async 'plays to the end and stops'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const whole = await t.pixels(page);
    await page.selectOption('#speed', '64');
    await page.click('#play');
    assert.equal(await page.textContent('#play'), 'Stop');
    await page.waitForTimeout(250);
    assert.match(await status(page), /of 47/);
    await page.waitForFunction(() => document.getElementById('play').textContent === 'Play', null, { timeout: 15000 });
    assert.match(await status(page), /^The whole job: 47 cuts/);
    assert.equal(await t.pixels(page), whole);
  },

  async 'the slider goes through the cut distance'(t) {
    const page = await t.open(t.made_page(job(t, 'small.hpgl', SMALL), '--machine', 'plain-hpgl'));
    const whole = await t.pixels(page);
    await slide(page, 5000);
    // Half of 120 mm is three sides of the square.
    assert.match(await status(page), /^Cut 1 of 2: cut; 60.0 mm of 120.0 mm/);
    const half = await t.pixels(page);
    await slide(page, 8333);
    assert.match(await status(page), /^Cut 2 of 2: cut; 100.0 mm of 120.0 mm/);
    const head = await page.evaluate(() => { const now = job.at(sheet.time); return along(job.cuts[now.cut].axis, now.part); });
    assert.ok(Math.abs(head.x - 70) < 0.01 && Math.abs(head.y) < 1e-9, JSON.stringify(head));
    const more = await t.pixels(page);
    assert.equal(new Set([whole, half, more]).size, 3);
  },

  async 'steps one cut on and back'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    await page.click('#back');
    assert.match(await status(page), /cut 47 of 47/i);
    await page.click('#back');
    assert.match(await status(page), /cut 46 of 47/i);
    await page.click('#on');
    assert.match(await status(page), /cut 47 of 47/i);
    await page.click('#on');
    assert.match(await status(page), /^The whole job/);
    await slide(page, 0);
    await page.click('#on');
    assert.match(await status(page), /cut 2 of 47/i);
  },

  async 'every kind of line can be hidden'(t) {
    const page = await t.open(t.made_page(TAGS, '--weed-border', '4mm'));
    const all = await t.pixels(page);
    await t.shot(page, 'tags');
    const boxes = await page.locator('#looks input').all();
    assert.equal(boxes.length, 8);
    const seen = new Set([all]);
    for (const box of boxes) {
      await box.uncheck();
      const without = await t.pixels(page);
      assert.ok(!seen.has(without), await box.getAttribute('id'));
      seen.add(without);
      await box.check();
      assert.equal(await t.pixels(page), all);
    }
  },

  async 'layers can be hidden'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const all = await t.pixels(page);
    await page.getByLabel('Lettering').uncheck();
    assert.notEqual(await t.pixels(page), all);
  },

  async 'its figures are those of check --json, in every order'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    for (const [words, order] of Object.entries(ORDERS)) {
      await page.getByRole('radio', { name: words }).check();
      const report = JSON.parse(t.program('check', EMBLEM, '--json', '--order', order));
      for (const key of ['contours', 'cut_mm', 'travel_mm', 'lifts', 'time_s', 'bytes', 'tip_error_mm']) {
        assert.equal(await figure(page, key), report[key], `${order} ${key}`);
      }
      const unpacked = await page.evaluate(() => ({
        cut: job.cuts.reduce((sum, cut) => sum + cut.length, 0),
        travel: job.cuts.reduce((sum, cut) => sum + cut.travelLength, 0) + lengthOf(job.lastTravel),
      }));
      assert.ok(Math.abs(unpacked.cut - report.cut_mm) < 0.5, `${unpacked.cut} ${report.cut_mm}`);
      assert.ok(Math.abs(unpacked.travel - report.travel_mm) < 0.5, `${unpacked.travel} ${report.travel_mm}`);
      assert.equal(await page.textContent('#command'), `bladewright write ${EMBLEM} --order ${order}`);
    }
  },

  async 'the command is copied'(t) {
    const page = await t.open(t.made_page(EMBLEM), { permissions: ['clipboard-read', 'clipboard-write'] });
    await page.click('#copy');
    await page.waitForFunction(() => document.getElementById('copied').textContent === 'Copied.');
    const copied = await page.evaluate(() => navigator.clipboard.readText());
    assert.equal(copied, await page.textContent('#command'));
  },

  async 'the blade that is shown runs along the simulated track'(t) {
    const page = await t.open(t.made_page(TAGS));
    const worst = await page.evaluate(() => {
      let worst = 0;
      const toLine = (line, p) => {
        let best = Infinity;
        for (let i = 2; i < line.length; i += 2) {
          const ax = line[i - 2], ay = line[i - 1], bx = line[i] - ax, by = line[i + 1] - ay;
          const f = Math.min(1, Math.max(0, ((p.x - ax) * bx + (p.y - ay) * by) / (bx * bx + by * by || 1)));
          best = Math.min(best, Math.hypot(p.x - ax - f * bx, p.y - ay - f * by));
        }
        return best;
      };
      for (const cut of job.cuts) {
        for (let i = 0; i <= 100; i++) {
          const head = along(cut.axis, i / 100), tip = tipAt(cut, head), k = tipReached(cut, i / 100);
          // On the track, and just past the points that are taken for cut.
          worst = Math.max(worst, toLine(cut.tip, tip), toLine(cut.tip.slice(Math.max(0, 2 * k - 4), 2 * k + 4), tip));
        }
      }
      return worst;
    });
    assert.ok(worst < 0.02, `${worst} mm`);
  },

  async 'what was left out is listed, and a click shows its place'(t) {
    const emblem = await t.open(t.made_page(EMBLEM));
    assert.match(await emblem.textContent('#said'), /Sketch.*hidden/);
    const page = await t.open(t.made_page(DECAL));
    const before = await t.pixels(page);
    await page.getByRole('button', { name: /Show it/ }).first().click();
    assert.notEqual(await t.pixels(page), before);
    const off = await page.evaluate(() => {
      const at = sheet.toSheet((sheet.width + RULER) / 2, (sheet.height - RULER) / 2);
      return Math.hypot(at.x - sheet.marked.x, at.y - sheet.marked.y);
    });
    assert.ok(off < 0.01, String(off));
  },

  async 'wheel and hand move the sheet about what they point at'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const box = await page.locator('#sheet').boundingBox();
    const [x, y] = [Math.ceil(box.x), Math.ceil(box.y)];
    const under = (dx, dy) => page.evaluate(([px, py]) => sheet.toSheet(px, py), [x + dx - box.x, y + dy - box.y]);
    const at = () => under(300, 200);
    const before = await at(), scale = await page.evaluate(() => sheet.view.scale);
    await page.mouse.move(x + 300, y + 200);
    await page.mouse.wheel(0, -300);
    await t.settled(page);
    const after = await at();
    assert.ok(await page.evaluate(() => sheet.view.scale) > scale * 1.5);
    assert.ok(Math.hypot(after.x - before.x, after.y - before.y) < 1e-6);
    await page.mouse.down();
    await page.mouse.move(x + 340, y + 170, { steps: 4 });
    await page.mouse.up();
    const held = await under(340, 170);
    assert.ok(Math.hypot(held.x - after.x, held.y - after.y) < 1e-6);
    await page.click('#whole');
    assert.ok(Math.abs(await page.evaluate(() => sheet.view.scale) - scale) < 1e-9);
  },

  async 'two fingers bring it closer'(t) {
    const page = await t.open(t.made_page(EMBLEM), { hasTouch: true });
    const box = await page.locator('#sheet').boundingBox();
    const scale = await page.evaluate(() => sheet.view.scale);
    const cdp = await page.context().newCDPSession(page);
    const touch = (type, far) => cdp.send('Input.dispatchTouchEvent', {
      type, touchPoints: type === 'touchEnd' ? [] : [0, 1].map(id => ({ id, x: box.x + 300 + (id ? far : -far), y: box.y + 200 })),
    });
    await touch('touchStart', 30);
    for (let far = 40; far <= 90; far += 10) await touch('touchMove', far);
    await touch('touchEnd', 0);
    await t.settled(page);
    const factor = await page.evaluate(() => sheet.view.scale) / scale;
    assert.ok(factor > 2 && factor < 4, String(factor));
  },

  async 'everything works with the keyboard alone'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const wanted = new Set(['sheet', 'closer', 'farther', 'whole', 'play', 'back', 'speed', 'way', 'unit', 'show-cut', 'show-tip', 'command', 'copy']);
    for (let i = 0; i < 60 && wanted.size; i++) {
      await page.keyboard.press('Tab');
      const { id, outlined } = await page.evaluate(() => {
        const style = getComputedStyle(document.activeElement);
        return { id: document.activeElement.id, outlined: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2 };
      });
      if (wanted.delete(id)) assert.ok(outlined, `${id} shows that it has the focus`);
    }
    assert.deepEqual([...wanted], []);
    await page.focus('#sheet');
    let last = await t.pixels(page);
    for (const key of ['+', 'ArrowLeft', 'ArrowUp', '-', '0', ',', ',', '.', 'Home']) {
      await page.keyboard.press(key);
      const now = await t.pixels(page);
      assert.notEqual(now, last, key);
      last = now;
    }
    await page.keyboard.press(' ');
    assert.equal(await page.textContent('#play'), 'Stop');
    await page.keyboard.press(' ');
    assert.equal(await page.textContent('#play'), 'Play');
    await page.getByRole('radio', { name: 'The best found' }).focus();
    await page.keyboard.press('ArrowUp');
    assert.match(await page.textContent('#command'), /--order nearest$/);
    await page.focus('#way');
    await page.keyboard.press('Home');
    assert.match(await status(page), /cut 1 of 47/i);
  },

  async 'a screen reader finds every cut in the table'(t) {
    const page = await t.open(t.made_page(EMBLEM));
    const numbers = [];
    for (;;) {
      numbers.push(...await page.locator('#rows th').allTextContents());
      if (await page.locator('#later').isDisabled()) break;
      await page.click('#later');
    }
    assert.deepEqual(numbers, Array.from({ length: 47 }, (_, i) => String(i + 1)));
    await page.getByRole('button', { name: 'Go to cut 47' }).click();
    assert.match(await status(page), /47|last travel/i);
    for (const [name, node] of [['button', 'button'], ['slider', 'input[type=range]'], ['box', 'input[type=checkbox]'], ['select', 'select:not([id=film])']]) {
      for (const one of await page.locator(node).all()) {
        const named = await one.evaluate(e => (e.getAttribute('aria-label') || e.textContent || (e.labels[0] && e.labels[0].textContent) || '').trim() || (e.labels && e.labels[0] && e.labels[0].textContent.trim()));
        assert.ok(named, `a ${name} has no name`);
      }
    }
  },

  async 'lengths in inches'(t) {
    const page = await t.open(t.made_page(job(t, 'small.hpgl', SMALL), '--machine', 'plain-hpgl'));
    const before = await t.pixels(page);
    await page.selectOption('#unit', 'in');
    assert.notEqual(await t.pixels(page), before);
    // 120 mm = 4.724 in.
    assert.equal(await page.textContent('[data-key=cut_mm]'), '4.72 in');
  },

  async 'nothing is cut off at 400 % and on a phone'(t) {
    // 1280 x 1024 at 400 % leaves 320 x 256 CSS pixels (WCAG 2.2, 1.4.10 Reflow).
    const sizes = [['zoom-400', 320, 256, 4], ['phone', 360, 740, 2]];
    for (const [name, width, height, deviceScaleFactor] of sizes) {
      const page = await t.open(t.made_page(EMBLEM), { viewport: { width, height }, deviceScaleFactor });
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${name}: ${wide} > ${width}`);
      await t.shot(page, name);
      for (const id of ['play', 'back', 'on', 'way', 'whole', 'copy']) {
        const box = await page.locator('#' + id).boundingBox();
        assert.ok(box.x >= 0 && box.x + box.width <= width + 0.5, `${name}: ${id}`);
      }
      const small = await page.locator('#play').boundingBox();
      assert.ok(small.height >= 24, 'large enough for a finger (WCAG 2.2, 2.5.8)');
    }
  },

  async 'lines and words stand out, in light and in dark'(t) {
    for (const colorScheme of ['light', 'dark']) {
      const page = await t.open(t.made_page(EMBLEM), { colorScheme });
      await t.shot(page, colorScheme);
      const colours = await page.evaluate(() => ({ ...sheet.colours }));
      const full = hex => hex.length === 4 ? '#' + [...hex.slice(1)].map(c => c + c).join('') : hex;
      const against = (a, b) => contrast(full(colours[a]), full(colours[b]));
      for (const line of ['--cut', '--travel', '--overcut', '--weed', '--tip', '--later', '--focus', '--edge']) {
        assert.ok(against(line, '--paper') >= 3, `${colorScheme} ${line}: ${against(line, '--paper').toFixed(2)}`);
      }
      for (const [ink, ground] of [['--ink', '--paper'], ['--ink', '--ground'], ['--quiet', '--ground'], ['--quiet', '--paper']]) {
        assert.ok(against(ink, ground) >= 4.5, `${colorScheme} ${ink} on ${ground}: ${against(ink, ground).toFixed(2)}`);
      }
      assert.ok(against('--edge', '--ground') >= 2.4, `${colorScheme} edge`);
    }
  },

  async 'printed it is light and has no buttons'(t) {
    const page = await t.open(t.made_page(EMBLEM), { colorScheme: 'dark' });
    await page.emulateMedia({ media: 'print' });
    await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
    assert.equal(await page.locator('#play').isVisible(), false);
    assert.equal(await page.locator('#command').isVisible(), true);
    const corner = await page.evaluate(() => [...sheet.context.getImageData(sheet.canvas.width - 3, 3, 1, 1).data]);
    assert.deepEqual(corner, [255, 255, 255, 255]);
    await t.shot(page, 'print');
  },

  async 'with reduced motion it goes by whole cuts'(t) {
    const page = await t.open(t.made_page(EMBLEM), { reducedMotion: 'reduce' });
    await page.click('#play');
    await page.waitForTimeout(1000);
    const now = await page.evaluate(() => { stop(); const at = job.at(sheet.time); return { ...at, start: sheet.time === job.cuts[at.cut].t1 }; });
    assert.ok(now.cut > 0 && now.start, JSON.stringify(now));
  },

  async 'films are chosen by name'(t) {
    const page = await t.open(t.made_page(EMBLEM, '--sheets', 'layer'));
    assert.deepEqual(await page.locator('#film option').allTextContents(), ['Wheel', 'Lettering']);
    const before = await figure(page, 'contours');
    await page.selectOption('#film', 'Lettering');
    assert.notEqual(await figure(page, 'contours'), before);
    assert.equal(await page.locator('#orders input:checked').count(), 1);
  },

  async 'two jobs stand side by side'(t) {
    const other = job(t, 'other.hpgl', 'IN;SP1;PU2000,0;PD3600,0;PU400,400;PD1200,400,1200,1200,400,1200,400,400;PU0,0;');
    const path = `${t.work}/two.html`;
    const told = JSON.parse(t.program('compare', job(t, 'small.hpgl', SMALL), other, '--json', '--machine', 'plain-hpgl', '--page', path));
    const page = await t.open(path);
    assert.equal(await page.locator('#orders input').count(), 2);
    assert.equal(await page.locator('#ordershead').textContent(), 'Jobs side by side');
    await page.locator('#orders input').nth(1).check();
    assert.equal(await figure(page, 'travel_mm'), told.jobs[1].travel_mm);
    assert.deepEqual(page.heard, []);
  },

  async '20,000 contours stay smooth'(t) {
    let text = 'IN;SP1;';
    for (let i = 0; i < 20000; i++) {
      const x = (i % 200) * 160, y = Math.floor(i / 200) * 160, ring = [];
      for (let k = 0; k <= 24; k++) ring.push(Math.round(x + 80 + 60 * Math.cos(k * Math.PI / 12)), Math.round(y + 80 + 60 * Math.sin(k * Math.PI / 12)));
      text += `PU${ring[0]},${ring[1]};PD${ring.slice(2).join(',')};`;
    }
    const path = t.made_page(job(t, 'many.hpgl', text + 'PU0,0;'), '--machine', 'plain-hpgl');
    const started = Date.now();
    const page = await t.open(path);
    const opened = Date.now() - started;
    assert.equal(await page.evaluate(() => job.cuts.length), 20000);
    // How long the page itself works in each frame, while it is moved and while it plays.
    const frames = act => page.evaluate(act => new Promise(done => {
      const times = [], draw = sheet.draw.bind(sheet);
      sheet.draw = () => { const from = performance.now(); draw(); times.push(performance.now() - from); };
      let i = 0;
      const next = () => {
        if (act === 'move') sheet.move(3, 2); else if (act === 'zoom') sheet.zoom(1.02); else if (i === 0) play();
        if (++i < 60) requestAnimationFrame(next); else { stop(); delete sheet.draw; done(times.sort((a, b) => a - b)); }
      };
      next();
    }), act);
    const told = [];
    for (const act of ['move', 'zoom', 'play']) {
      const times = await frames(act);
      const [middle, most] = [times[times.length >> 1], times[Math.floor(times.length * 0.95)]];
      told.push(`${act} ${middle.toFixed(1)} ms (95 % within ${most.toFixed(1)} ms)`);
      assert.ok(middle < 33, `${act}: ${middle} ms a frame`);
    }
    await t.settled(page);
    await t.shot(page, 'many');
    console.log(`        opened in ${opened} ms; work in a frame: ${told.join(', ')}`);
  },
};
