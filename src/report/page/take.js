/* Before and after run side by side, one of them unheard, so that a switch is nothing but two fades. */
const player = (function () {
  const data = JSON.parse(byId('data').textContent), map = data.map, rows = data.rows;
  const sound = { before: byId('before'), after: byId('after') };
  /* Rows beyond the first are text until one of them is wanted: the page is there at once, however many there are. found: numbers of rows. */
  const body = byId('rows'), made = body ? [...body.rows] : [];
  let isBlind = false, found = body ? rows.map((row, index) => index) : [];
  const works = { before: !!sound.before, after: !!sound.after };
  let side = works.after ? 'after' : 'before', range = null, current = -1, timer = 0, waiting = 0, asked = 0, turn = 0;
  /* A sound that is asked to begin begins some hundredths later, by nearly the same each time: that is learnt, and asked for ahead. */
  const lead = { before: 0.08, after: 0.08 }, pace = { piece: -1, tries: 0, settled: 0 };
  const SETTLE_MS = 180, CLOSE_S = 0.008, NEAR_S = 0.015, TRIES = 4;
  const other = s => s === 'before' ? 'after' : 'before';
  /* ---- the time map: [start in the take, end in the take, start in the voice], seconds ---- */
  function lastFrom(column, value) {
    let low = 0, high = map.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (map[middle][column] <= value) low = middle + 1; else high = middle;
    }
    return low - 1;
  }
  function toAfter(t) {
    const i = lastFrom(0, t);
    if (i < 0) return { t: map.length ? map[0][2] : 0, isIn: false, piece: i };
    const [s, e, o] = map[i];
    return t < e ? { t: o + t - s, isIn: true, piece: i } : { t: o + e - s, isIn: false, piece: i };
  }
  function toBefore(t) {
    const i = lastFrom(2, t);
    if (i < 0) return { t: map.length ? map[0][0] : 0, isIn: false, piece: i };
    const [s, e, o] = map[i];
    return t < o + e - s ? { t: s + t - o, isIn: true, piece: i } : { t: e, isIn: false, piece: i };
  }
  const across = (from, t) => from === 'before' ? toAfter(t) : toBefore(t);
  const inTake = () => side === 'before' ? sound.before.currentTime : toBefore(sound.after.currentTime).t;
  /* ---- loudness ---- */
  function volumeOf(s) {
    const level = byId('level').value / 100, match = byId('match');
    const over = match && match.checked && works[other(s)] ? Math.max(0, data.lufs[s] - data.lufs[other(s)]) : 0;
    return level * Math.pow(10, -over / 20);
  }
  function level() { if (works[side]) sound[side].volume = volumeOf(side); }
  /* ---- running ---- */
  function place(s, there) {
    sound[s].currentTime = there.t + lead[s];
    pace.settled = performance.now() + SETTLE_MS;
  }
  function learn(s, there) {
    const off = there.t - sound[s].currentTime;
    lead[s] = Math.max(0, Math.min(0.4, lead[s] + off));
  }
  /* Keeps the side that is not heard at the moment of the one that is. */
  function follow() {
    const to = other(side), a = sound[side], b = sound[to];
    if (!works[to] || waiting) return;
    if (a.seeking) return; /* what is heard first: a browser fetches from the file for one after the other */
    const there = across(side, a.currentTime);
    if (a.paused || !there.isIn) {
      if (!b.paused) b.pause();
      if (Math.abs(b.currentTime - there.t) > 0.005 && !b.seeking) b.currentTime = there.t;
      pace.piece = -1;
      return;
    }
    if (b.paused || there.piece !== pace.piece) {
      pace.piece = there.piece;
      pace.tries = 0;
      b.volume = UNHEARD;
      if (b.paused || Math.abs(there.t - b.currentTime) > CLOSE_S) place(to, there);
      if (b.paused) b.play().catch(() => {});
      return;
    }
    if (b.seeking || performance.now() < pace.settled || pace.tries >= TRIES || Math.abs(there.t - b.currentTime) <= CLOSE_S) return;
    pace.tries++;
    learn(to, there);
    place(to, there);
  }
  function tick() {
    const a = sound[side];
    if (!waiting && range && a.currentTime >= range[side][1]) {
      if (isBlind || byId('loop').checked) a.currentTime = range[side][0];
      else { stop(); return; }
    }
    if (a.ended) stop();
    follow();
    show();
  }
  function run() { if (!timer) timer = setInterval(tick, 20); document.body.classList.add('playing'); button(); }
  function stop() {
    const a = sound[side], b = sound[other(side)], mine = ++turn;
    waiting = 0;
    clearTimeout(asked);
    clearInterval(timer);
    timer = 0;
    range = null;
    fade(a, 0);
    setTimeout(() => { if (mine === turn) { a.pause(); if (b) b.pause(); } }, FADE_MS + 3);
    button();
  }
  function start() {
    const a = sound[side], mine = ++turn;
    if (!works[side]) return;
    waiting = 0;
    clearTimeout(asked);
    pace.piece = -1;
    clearTimeout(a.fading);
    a.volume = UNHEARD;
    a.play().then(() => { if (mine === turn) { fade(a, volumeOf(side)); run(); } }, () => { if (mine === turn) say('This sound could not be played: does the recording still lie where it lay?'); });
  }
  function seek(t) {
    if (isBlind) return;
    range = null;
    pace.piece = -1;
    if (works[side]) sound[side].currentTime = side === 'before' || !map.length ? t : toAfter(t).t; /* the other one follows when this one is there */
    document.body.classList.add('playing');
    show();
  }
  /* ---- switching ---- */
  function handOver(from, to) {
    fade(sound[from], 0);
    fade(sound[to], volumeOf(to));
    side = to;
    pace.tries = 0;
    button();
  }
  function switchTo(to) {
    if (to === side || !works[to] || waiting) return;
    const from = side, a = sound[from], b = sound[to], there = across(from, a.currentTime);
    if (a.paused || !timer) {
      b.currentTime = there.t;
      a.volume = UNHEARD;
      side = to;
      level();
      button();
      show();
      return;
    }
    const runs = there.isIn && !b.paused && !b.seeking && there.piece === pace.piece, early = pace.settled - performance.now();
    if (runs && early > 0) {
      clearTimeout(asked);
      asked = setTimeout(() => switchTo(to), early + 1);
    } else if (runs && Math.abs(there.t - b.currentTime) < NEAR_S) handOver(from, to);
    else bring(from, to, 0);
  }
  /* Brings the other side to the moment, unheard, then hands over. */
  function bring(from, to, tries) {
    const a = sound[from], b = sound[to], now = across(from, a.currentTime), mine = turn;
    waiting = 1;
    b.volume = UNHEARD;
    b.currentTime = now.t + (now.isIn ? lead[to] : 0);
    b.play().then(() => setTimeout(() => {
      if (mine !== turn) return;
      const there = across(from, a.currentTime);
      if (now.isIn && !a.paused && tries < 2 && (!there.isIn || Math.abs(there.t - b.currentTime) > CLOSE_S)) {
        if (there.isIn && there.piece === now.piece) learn(to, there);
        bring(from, to, tries + 1);
        return;
      }
      waiting = 0;
      handOver(from, to);
    }, now.isIn ? SETTLE_MS : 0), () => { if (mine === turn) { waiting = 0; say('This sound could not be played: does the recording still lie where it lay?'); } });
  }
  /* ---- playing a decision ---- */
  function play(index, how) {
    const row = rows[index], s = row.s / 1000, e = row.e / 1000;
    const want = how === 'after' ? 'after' : how === 'here' ? side : 'before', around = how === 'only' ? 0 : 2;
    if (!works[want] || isBlind) return;
    if (timer) { sound[side].volume = UNHEARD; sound[side].pause(); }
    if (want !== side && works[side]) { sound[side].pause(); }
    side = want;
    range = { before: [Math.max(0, s - around), e + around], after: [Math.max(0, row.os - 2), row.oe + 2] };
    sound[side].currentTime = range[side][0];
    mark(index);
    start();
  }
  function mark(index) {
    const old = document.querySelector('tr.now');
    if (old) { old.classList.remove('now'); old.removeAttribute('aria-current'); }
    current = index;
    const tr = document.querySelector('tr[data-row="' + index + '"]');
    if (tr) { tr.classList.add('now'); tr.setAttribute('aria-current', 'true'); }
  }
  function step(by) {
    if (!found.length) return;
    const at = found.indexOf(current), next = found[at < 0 ? (by > 0 ? 0 : found.length - 1) : (at + by + found.length) % found.length];
    reveal(next);
    play(next, 'here');
    const tr = document.querySelector('tr[data-row="' + next + '"]');
    if (tr) tr.scrollIntoView({ block: 'nearest' });
  }
  /* ---- what is seen ---- */
  const picture = byId('picture'), watchers = [];
  function show() {
    for (const watcher of watchers) watcher();
    const t = inTake(), after = toAfter(t).t, place = byId('place');
    place.value = t;
    place.setAttribute('aria-valuetext', clock(t) + ' before');
    byId('clock').textContent = works.before || map.length ? clock(t) + ' before' + (works.after ? ', ' + clock(side === 'after' ? sound.after.currentTime : after) + ' after' : '') : '';
    if (!picture) return;
    const x = s => +picture.dataset.left + s * picture.dataset.scale;
    byId('head-before').setAttribute('transform', 'translate(' + x(t).toFixed(1) + ' 0)');
    byId('head-after').setAttribute('transform', 'translate(' + x(side === 'after' ? sound.after.currentTime : after).toFixed(1) + ' 0)');
  }
  function button() {
    byId('play').textContent = timer ? 'Stop' : 'Play';
    for (const s of ['before', 'after']) {
      byId('hear-' + s).setAttribute('aria-pressed', String(!isBlind && s === side));
      byId('hear-' + s).disabled = isBlind || !works[s];
    }
  }
  function say(text) { byId('said').textContent = text; }
  function lost(s, why) {
    works[s] = false;
    if (side === s && works[other(s)]) { side = other(s); level(); }
    made.forEach(silence);
    say(why);
    button();
  }
  for (const s of ['before', 'after']) {
    const one = sound[s];
    if (!one) continue;
    one.addEventListener('seeked', () => { if (s === side && !timer) follow(); });
    one.controls = false;
    one.hidden = true;
    one.addEventListener('error', () => lost(s, 'What is heard ' + s + ' is not where it was, or your browser cannot play it.'));
    if (one.error) lost(s, 'Your browser cannot play what is heard ' + s + '.');
  }
  /* ---- controls ---- */
  byId('play').addEventListener('click', () => { if (timer) stop(); else start(); });
  byId('hear-before').addEventListener('click', () => switchTo('before'));
  byId('hear-after').addEventListener('click', () => switchTo('after'));
  byId('level').addEventListener('input', level);
  if (byId('match')) byId('match').addEventListener('change', level);
  byId('place').addEventListener('input', () => seek(+byId('place').value));
  if (picture) picture.addEventListener('click', event => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
    const t = Math.max(0, (point.x - picture.dataset.left) / picture.dataset.scale);
    seek(Math.min(data.length, point.y > picture.dataset.middle && map.length ? toBefore(t).t : t));
  });
  document.addEventListener('click', event => {
    const b = event.target.closest('button[data-do]');
    if (b) play(+b.closest('tr').dataset.row, b.dataset.do);
  });
  document.addEventListener('keydown', event => {
    if (event.ctrlKey || event.altKey || event.metaKey || !byId('keys').checked || isBlind) return;
    const field = event.target.closest('input:not([type=checkbox]),select,textarea'), key = event.key.toLowerCase();
    if (field || key === ' ' && event.target.closest('button,input,a,summary')) return;
    const act = { ' ': () => timer ? stop() : start(), s: () => switchTo(other(side)), d: () => step(1), u: () => step(-1),
      l: () => { byId('loop').checked = !byId('loop').checked; },
      arrowleft: () => seekBy(-2), arrowright: () => seekBy(2) }[key];
    if (!act) return;
    if (key.startsWith('arrow') && event.target.closest('.scroll')) return;
    event.preventDefault();
    act();
  });
  function seekBy(by) { seek(Math.max(0, Math.min(data.length, inTake() + by))); }
  document.addEventListener('visibilitychange', () => { if (timer) tick(); });
  /* ---- the table: which rows, in which order ---- */
  const off = new Set(), texts = [], AT_ONCE = 100;
  let order = found, most = AT_ONCE;
  function rowOf(index) {
    if (!made[index]) {
      const more = document.createElement('template');
      more.innerHTML = '<table><tbody>' + byId('more-rows').textContent + '</tbody></table>';
      made.push(...more.content.querySelectorAll('tr'));
      made.forEach(silence);
    }
    return made[index];
  }
  /* What a browser cannot play has no button that works. */
  function silence(tr) {
    for (const b of tr.querySelectorAll('[data-do]')) b.disabled = b.disabled || !works[b.dataset.do === 'after' ? 'after' : 'before'];
  }
  const textOf = index => texts[index] ??= rowOf(index).textContent.toLowerCase();
  function list() {
    const listed = found.slice(0, most).map(rowOf);
    body.replaceChildren(...listed);
    listed.forEach(dress);
    byId('shown').textContent = found.length + ' of ' + rows.length + ' shown' + (found.length > most ? ', the first ' + most + ' of them here' : '');
    if (byId('more')) byId('more').hidden = found.length <= most;
  }
  function reveal(index) {
    const at = found.indexOf(index);
    if (at < most) return;
    most = at + AT_ONCE;
    list();
  }
  function filter() {
    const word = byId('search').value.trim().toLowerCase();
    found = order.filter(index => !off.has(rows[index].kind) && (word === '' || textOf(index).includes(word)));
    most = AT_ONCE;
    list();
  }
  if (body) {
    byId('tools').hidden = false;
    for (const b of document.querySelectorAll('button[data-kind]')) b.addEventListener('click', () => {
      const isOn = b.getAttribute('aria-pressed') === 'true';
      b.setAttribute('aria-pressed', String(!isOn));
      if (isOn) off.add(b.dataset.kind); else off.delete(b.dataset.kind);
      filter();
    });
    byId('search').addEventListener('input', filter);
    byId('order').addEventListener('change', () => {
      const by = { time: (a, b) => a - b, long: (a, b) => rows[b].e - rows[b].s - (rows[a].e - rows[a].s) || a - b,
        unsure: (a, b) => (rows[a].sure ?? 2) - (rows[b].sure ?? 2) || a - b }[byId('order').value];
      order = rows.map((row, index) => index).sort(by);
      filter();
    });
    /* Paper gets its rows wherever they are. */
    addEventListener('beforeprint', () => { if (rowOf(rows.length - 1)) body.replaceChildren(...made.filter(tr => tr.classList.contains('p'))); });
    addEventListener('afterprint', list);
    if (byId('more')) byId('more').addEventListener('click', () => { most += AT_ONCE; list(); });
  }
  /* ---- changes ---- */
  for (const row of rows) row.take = data.take;
  function makeSelect(b) {
    const index = +b.closest('tr').dataset.row, row = rows[index], select = document.createElement('select');
    select.setAttribute('aria-label', 'Action from now on, ' + row.kind + ' at ' + clock(row.s / 1000));
    select.dataset.change = index;
    for (const action of row.may) select.add(new Option(action, action));
    select.value = changes.get(row);
    select.addEventListener('change', () => changes.set(row, select.value));
    b.replaceWith(select);
    return select;
  }
  /* A row shows a change where there is one, and lets it be made. */
  function dress(tr) {
    const row = rows[tr.dataset.row], select = tr.querySelector('select[data-change]'), b = tr.querySelector('button[data-change]');
    if (select) select.value = changes.get(row);
    else if (changes.get(row) !== row.action) makeSelect(b);
    else if (b) b.hidden = false;
  }
  document.addEventListener('click', event => {
    const b = event.target.closest('button[data-change]');
    if (b) makeSelect(b).focus();
  });
  changes.watch(() => { if (body) for (const tr of body.rows) dress(tr); });
  if (body) filter();
  changes.show();
  level();
  button();
  show();
  /* ---- for the blind test ---- */
  function match(isFixed) {
    const box = byId('match');
    if (!box) return;
    box.checked = box.checked || isFixed;
    box.disabled = isFixed;
    level();
  }
  function hearBlind(to) {
    const a = sound[side], mine = ++turn;
    waiting = 0;
    if (to === side) setTimeout(() => { if (mine === turn) { a.volume = UNHEARD; fade(a, volumeOf(side)); } }, SETTLE_MS + FADE_MS);
    else bring(side, to, 1);
  }
  return {
    data, seek, toBefore, watch: watcher => watchers.push(watcher),
    now: () => { const t = inTake(); return { before: t, after: side === 'after' && works.after ? sound.after.currentTime : toAfter(t).t }; },
    both: works.before && works.after && map.length > 0, map, hearBlind,
    repeat(two) {
      range = two;
      for (const s of ['before', 'after']) sound[s].currentTime = two[s][0];
      if (!timer) start();
    },
    startBlind() { isBlind = true; document.body.classList.add('blind'); match(true); button(); },
    stopBlind() { isBlind = false; document.body.classList.remove('blind'); match(false); stop(); }
  };
})();
