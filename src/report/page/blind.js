/* Blind test: A is before, B after, X one of the two by lot. Every change of what is heard takes equally long and dips equally, whether the sound changes or not. */
/* Chance of at least so many right by guessing alone: the binomial distribution at one half, exactly. */
function chance(right, rounds) {
  let term = Math.pow(2, -rounds), sum = 0; /* of k = rounds, then down */
  for (let k = rounds; k >= right; k--) {
    sum += term;
    term *= k / (rounds - k + 1);
  }
  return sum;
}
function verdict(right, rounds) {
  const p = chance(right, rounds), percent = p >= 0.0995 ? (100 * p).toFixed(0) : p >= 0.000995 ? (100 * p).toFixed(1) : (100 * p).toFixed(2);
  const often = p < 0.00005 ? 'less than 0.01 %' : percent + ' %';
  return right + ' of ' + rounds + ' right. Somebody who hears no difference and guesses gets ' + (right === rounds ? 'all of them' : right + ' or more') +
    ' right in ' + often + ' of such tests: ' + (p < 0.01 ? 'you can hear the difference.' : p < 0.05 ? 'you can most likely hear the difference.'
      : 'this does not show that you can hear a difference.');
}
(function () {
  if (!byId('blind') || !player.both) return;
  const LONGEST_S = 10, LEAST_S = 1.5; /* BS.1534: passages of some 10 s, never under 500 ms */
  const lot = n => crypto.getRandomValues(new Uint32Array(1))[0] % n;
  let round = 0, rounds = 0, right = 0, x = 'before';
  const parts = player.map.filter(([s, e]) => e - s >= LEAST_S);
  byId('blind').hidden = parts.length === 0;
  function passage() {
    const [s, e, o] = parts[lot(parts.length)], length = Math.min(e - s, LONGEST_S), from = lot(1000) / 1000 * (e - s - length);
    player.repeat({ before: [s + from, s + from + length], after: [o + from, o + from + length] });
  }
  function hear(name) {
    for (const n of ['a', 'b', 'x']) byId('blind-' + n).setAttribute('aria-pressed', String(n === name));
    player.hearBlind(name === 'a' ? 'before' : name === 'b' ? 'after' : x);
  }
  function say(text) { byId('blind-said').textContent = text; }
  function next() {
    x = lot(2) ? 'before' : 'after';
    say('Round ' + (round + 1) + ' of ' + rounds + '. Listen to A, B and X, then say which of the two X is.');
    passage();
    hear('a');
  }
  function buttons(isOn) {
    for (const id of ['blind-a', 'blind-b', 'blind-x', 'is-a', 'is-b', 'blind-stop']) byId(id).disabled = !isOn;
    byId('blind-begin').disabled = byId('rounds').disabled = isOn;
  }
  function end(text) {
    buttons(false);
    for (const n of ['a', 'b', 'x']) byId('blind-' + n).setAttribute('aria-pressed', 'false');
    player.stopBlind();
    say(text);
  }
  function answer(guess) {
    right += guess === x;
    if (++round < rounds) next(); else end(verdict(right, rounds));
  }
  byId('blind-begin').addEventListener('click', () => {
    rounds = +byId('rounds').value;
    round = right = 0;
    player.startBlind();
    buttons(true);
    next();
    byId('blind-x').focus();
  });
  for (const n of ['a', 'b', 'x']) byId('blind-' + n).addEventListener('click', () => hear(n));
  byId('is-a').addEventListener('click', () => answer('before'));
  byId('is-b').addEventListener('click', () => answer('after'));
  byId('blind-stop').addEventListener('click', () => end('Stopped after ' + round + ' of ' + rounds + ': a test that is stopped early proves nothing.'));
  buttons(false);
})();
