/* One hidden player for every button of the page; playing another part stops what plays. */
(function () {
  const part = new Audio(), said = byId('said'), level = byId('level');
  let queue = [], button = null, timer = 0, turn = 0;
  part.preload = 'none';
  const loudness = () => level.value / 100;
  const sounds = document.querySelectorAll('audio');
  for (const sound of sounds) {
    sound.volume = loudness();
    sound.addEventListener('play', () => { stop(); });
  }
  level.addEventListener('input', () => { for (const sound of [part, ...sounds]) sound.volume = loudness(); });
  function rest(text) {
    if (button) { button.setAttribute('aria-pressed', 'false'); button = null; }
    clearInterval(timer);
    timer = 0;
    said.textContent = text || '';
    for (const b of document.querySelectorAll('button[data-all]')) b.setAttribute('aria-pressed', 'false');
  }
  function stop(text) {
    const mine = ++turn;
    queue = [];
    fade(part, 0);
    setTimeout(() => { if (mine === turn) part.pause(); }, FADE_MS + 3);
    rest(text);
  }
  /* A part may have a hole: what would be out is jumped over. */
  function watch(now) {
    const end = +now.dataset.to, hole = now.dataset.hole ? now.dataset.hole.split(' ').map(Number) : null;
    let isBehind = !hole;
    timer = setInterval(() => {
      if (!isBehind && part.currentTime >= hole[0]) {
        isBehind = true;
        part.volume = UNHEARD;
        part.currentTime = hole[1];
        fade(part, loudness());
      } else if (isBehind && part.currentTime >= end || part.ended) { fade(part, 0); next(); }
    }, 15);
  }
  function next() {
    const mine = ++turn;
    clearInterval(timer);
    timer = 0;
    if (button) button.setAttribute('aria-pressed', 'false');
    button = queue.shift();
    if (!button) { stop(); return; }
    const now = button, url = new URL(now.dataset.src, location.href).href, from = +now.dataset.from;
    now.setAttribute('aria-pressed', 'true');
    said.textContent = 'Playing: ' + (now.dataset.name || now.textContent);
    clearTimeout(part.fading);
    part.volume = UNHEARD;
    const begin = () => {
      if (mine !== turn) return;
      part.currentTime = from;
      part.play().then(() => {
        if (mine !== turn) return;
        fade(part, loudness());
        watch(now);
      }, () => { if (mine === turn) stop('This sound could not be played: does the recording still lie where it lay?'); });
    };
    sourceOf(url).then(source => {
      if (mine !== turn) return;
      if (part.src !== source) part.src = source;
      if (part.readyState >= 1) begin();
      else { part.addEventListener('loadedmetadata', begin, { once: true }); part.load(); }
    });
  }
  part.addEventListener('error', () => {
    if (button) stop('This sound is not where it was, or your browser cannot play it.');
  });
  document.addEventListener('click', event => {
    const one = event.target.closest('button[data-src]'), all = event.target.closest('button[data-all]');
    if (!one && !all) return;
    if (one && one === button || all && all.getAttribute('aria-pressed') === 'true') {
      stop();
      return;
    }
    for (const sound of sounds) sound.pause();
    for (const b of document.querySelectorAll('button[data-all]')) b.setAttribute('aria-pressed', String(b === all));
    queue = one ? [one] : Array.from(document.querySelectorAll('#' + all.dataset.all + ' button.gone'));
    next();
  });
  document.addEventListener('keydown', event => { if (event.key === 'Escape' && button) stop(); });
  /* ---- answers ---- */
  const rows = byId('data') ? JSON.parse(byId('data').textContent).rows : [];
  const notReady = byId('open') ? byId('open').textContent : '';
  const answers = document.querySelectorAll('button[data-answer]');
  for (const b of answers) b.addEventListener('click', () => {
    const row = rows[b.dataset.answer], action = b.dataset.action;
    changes.set(row, changes.get(row) === action ? row.action : action);
  });
  changes.watch(() => {
    for (const b of answers) b.setAttribute('aria-pressed', String(changes.get(rows[b.dataset.answer]) === b.dataset.action));
    const asked = rows.filter(row => row.action === 'ask'), left = asked.filter(row => changes.get(row) === 'ask').length;
    if (!asked.length) return;
    byId('open').textContent = left ? notReady : 'All are answered, none is carried out yet';
    byId('left').textContent = left === asked.length ? '' : left ? left + ' of ' + asked.length + ' still without an answer.' : 'Save the changes file, and run the line below it.';
  });
  for (const group of document.querySelectorAll('.answer')) group.hidden = false;
  changes.show();
})();
