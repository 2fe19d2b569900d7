/* From one question or removed part to the next by keys alone, each heard as it is reached. */
(function () {
  const items = [...document.querySelectorAll('#questions > li, #removed-list > li, #own-list > li')];
  const isOn = byId('keys'), playing = () => document.querySelector('button[data-src][aria-pressed=true]');
  let at = -1, heard = 0;
  function mark(index) {
    if (at >= 0) items[at].classList.remove('now');
    if (index !== at) heard = 0;
    at = index;
    items[at].classList.add('now');
  }
  const sounds = () => at < 0 ? [] : items[at].querySelectorAll('button[data-src]');
  function hear(index) {
    const all = sounds();
    if (!all.length) return;
    heard = index % all.length;
    if (all[heard] !== playing()) all[heard].click();
  }
  function step(by) {
    mark(at < 0 ? (by > 0 ? 0 : items.length - 1) : (at + by + items.length) % items.length);
    items[at].tabIndex = -1;
    items[at].focus({ preventScroll: true });
    items[at].scrollIntoView({ block: 'center' });
    hear(0);
  }
  function answer(number) {
    const choice = at < 0 ? null : items[at].querySelectorAll('.answer button')[number - 1];
    if (choice) choice.click();
  }
  const acts = { d: () => step(1), u: () => step(-1), h: () => hear(heard + 1),
    ' ': () => { const now = playing(); if (now) now.click(); else hear(heard); },
    1: () => answer(1), 2: () => answer(2), 3: () => answer(3) };
  if (!items.length) return;
  byId('walk').hidden = false;
  /* Where a pointer or the tabulator went, the keys go on from. */
  document.addEventListener('focusin', event => {
    const index = items.indexOf(event.target.closest('li'));
    if (index >= 0) mark(index);
  });
  document.addEventListener('keydown', event => {
    const key = event.key.toLowerCase(), act = acts[key];
    if (!act || !isOn.checked || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest('input:not([type=checkbox]),audio') || key === ' ' && (at < 0 || event.target.closest('button,input,a'))) return;
    event.preventDefault();
    act();
  });
})();
