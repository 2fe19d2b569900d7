'use strict';
const byId = id => document.getElementById(id);
const FADE_MS = 5;
/* 100 dB down. At 0 a browser may take another way to the loudspeaker, and loses its place by some hundredths. */
const UNHEARD = 1e-5;
/* Straight from one volume to another in 5 ms: long enough not to click, too short to be heard. */
function fade(sound, to) {
  const from = sound.volume, begin = performance.now();
  clearTimeout(sound.fading);
  (function step() {
    const share = Math.min(1, (performance.now() - begin) / FADE_MS);
    sound.volume = Math.max(UNHEARD, Math.min(1, from + (to - from) * share));
    if (share < 1) sound.fading = setTimeout(step, 1);
  })();
}
/* From a web server that sends no parts of files one could not move about in a sound: it is taken whole then. A promise of where it is to be played from. */
const sources = new Map();
function sourceOf(url) {
  if (!location.protocol.startsWith('http')) return Promise.resolve(url);
  if (!sources.has(url)) {
    sources.set(url, fetch(url, { headers: { Range: 'bytes=0-1' } })
      .then(answer => answer.status === 200 ? answer.blob().then(blob => URL.createObjectURL(blob)) : url).catch(() => url));
  }
  return sources.get(url);
}
for (const sound of document.querySelectorAll('audio')) sourceOf(sound.src).then(source => { if (source !== sound.src) sound.src = source; });
function clock(seconds) {
  const tenths = Math.round(Math.max(0, seconds) * 10), m = Math.floor(tenths / 600);
  const rest = String(Math.floor(tenths / 10) % 60).padStart(2, '0') + '.' + tenths % 10;
  return (m >= 60 ? Math.floor(m / 60) + ':' + String(m % 60).padStart(2, '0') : m) + ':' + rest;
}
/* ---- changes: a page cannot write files, so it offers one, over all pages of this run where the browser remembers ---- */
const changes = (function () {
  const run = byId('run').dataset, family = 'tidytake ' + run.session + ' ', key = family + run.sheets;
  const stamp = ms => [Math.floor(ms / 3600000), Math.floor(ms / 60000) % 60, Math.floor(ms / 1000) % 60].map(n => String(n).padStart(2, '0')).join(':') +
    '.' + String(ms % 1000).padStart(3, '0');
  let made = new Map(), isSaved = true;
  const watchers = [];
  function load() {
    try { made = new Map(JSON.parse(localStorage.getItem(key)) || []); } catch (e) { /* this page's own are kept all the same */ }
  }
  function keep() {
    try {
      for (const old of Object.keys(localStorage)) if (old.startsWith(family) && old !== key) localStorage.removeItem(old);
      if (made.size) localStorage.setItem(key, JSON.stringify(Array.from(made))); else localStorage.removeItem(key);
    } catch (e) { /* as above */ }
  }
  /* A cell that a spreadsheet could take for a formula gets an apostrophe, as in the sheet. */
  function cell(text) {
    if (/^[=+\-@\t]/.test(text)) text = "'" + text;
    return /[",\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }
  function line(row, action) {
    const hasAmount = action === 'shorten' || action === 'soften' || action === 'open';
    return [cell(row.take), row.id, stamp(row.s), stamp(row.e), row.kind, row.proposed, action, hasAmount ? row.amount : '',
      row.sure === null ? '' : row.sure.toFixed(2), cell(row.note)].join(',');
  }
  const nameOf = row => JSON.stringify([row.take, row.id]);
  function set(row, action) {
    if (action === row.action) made.delete(nameOf(row));
    else made.set(nameOf(row), { take: row.take, at: row.s, kind: row.kind, from: row.action, to: action, line: line(row, action) });
    isSaved = made.size === 0;
    keep();
    show();
  }
  const get = row => (made.get(nameOf(row)) || { to: row.action }).to;
  const text = () => ['take,id,start,end,kind,proposed,action,amount,confidence,note',
    ...Array.from(made.values()).sort((a, b) => a.take < b.take ? -1 : a.take > b.take ? 1 : a.at - b.at).map(c => c.line)].join('\r\n') + '\r\n';
  /* Each set of changes has a name of its own (FNV-1a of it): a browser gives the second file of one name another, and the line would go on naming the first. */
  function fileName() {
    let digest = 0x811c9dc5;
    for (const byte of new TextEncoder().encode(text())) digest = Math.imul(digest ^ byte, 0x01000193) >>> 0;
    return 'changes-' + digest.toString(16).padStart(8, '0') + '.csv';
  }
  function show() {
    if (!byId('changes')) return; /* nothing here can be changed */
    byId('changes').hidden = made.size === 0;
    byId('changed').textContent = made.size === 1 ? '1 decision changed' : made.size + ' decisions changed';
    byId('change-file').textContent = fileName();
    const list = byId('change-list');
    list.replaceChildren(...Array.from(made, ([name, c]) => {
      const item = document.createElement('li'), take = document.createElement('bdi'), back = document.createElement('button');
      take.textContent = c.take;
      back.type = 'button';
      back.textContent = 'take back';
      back.addEventListener('click', () => {
        made.delete(name);
        isSaved = made.size === 0;
        keep();
        show();
        byId('changed').focus();
      });
      item.append(take, ' at ' + clock(c.at / 1000) + ', ' + c.kind + ': ' + (c.from === 'ask' ? 'asked' : c.from) + ' \u2192 ' + c.to + ' ', back);
      return item;
    }));
    for (const watcher of watchers) watcher();
  }
  if (byId('save')) byId('save').addEventListener('click', () => {
    const link = document.createElement('a'), url = URL.createObjectURL(new Blob([text()], { type: 'text/csv' }));
    link.href = url;
    link.download = fileName();
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    isSaved = true;
  });
  window.addEventListener('beforeunload', event => { if (!isSaved) event.preventDefault(); });
  window.addEventListener('storage', event => { if (event.key === key) { load(); show(); } });
  window.addEventListener('pageshow', event => { if (event.persisted) { load(); show(); } });
  load();
  return { set, get, show, text, watch: watcher => watchers.push(watcher) };
})();
