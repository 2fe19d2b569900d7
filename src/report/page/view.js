/* Spectrograms around the moment that is heard, out of strips of time: 1024 columns wide, 80 high, twelve in a file (pipeline/picture.h). */
(function () {
  const part = byId('view-part'), pictures = player.data.pictures;
  if (!part || !pictures) return;
  const STRIP = 1024, HIGH = 80, STRIPS = 12, ZOOM = 8, KEPT = 12;
  const isCalm = matchMedia('(prefers-reduced-motion: reduce)').matches;
  const canvases = { before: byId('view-before'), after: byId('view-after') }, images = new Map();
  const lengths = { before: player.data.length, after: pictures.length };
  const shown = { before: [0, 1], after: [0, 1] };
  let isAsked = false;
  part.hidden = false;
  canvases.after.hidden = !(pictures.length > 0);
  function imageOf(side, level, file) {
    const name = pictures.at + side + '-' + level + '-' + file + '.png';
    let image = images.get(name);
    if (!image) {
      image = new Image();
      image.addEventListener('load', ask);
      image.src = name;
      if (images.size >= KEPT) images.delete(images.keys().next().value); /* the one that waited longest */
    }
    images.delete(name);
    images.set(name, image);
    return image;
  }
  function drawSide(side, now, lead) {
    const canvas = canvases[side], width = canvas.clientWidth, ratio = Math.min(2, devicePixelRatio || 1), ctx = canvas.getContext('2d');
    if (!width) return;
    if (canvas.width !== Math.round(width * ratio)) { canvas.width = Math.round(width * ratio); canvas.height = Math.round(canvas.clientHeight * ratio); }
    const span = +byId('span').value || Math.max(lengths.before, lengths.after);
    const from = +byId('span').value === 0 ? 0 : now - lead;
    shown[side] = [from, span];
    let level = 0, column = pictures.column_s[side];
    if (span / column > 4 * width && lengths[side] / column > STRIP) { level = 1; column *= ZOOM; }
    const scale = canvas.width / span, stripS = STRIP * column, high = canvas.height;
    ctx.fillStyle = '#fff';
    ctx.fillRect(0, 0, canvas.width, high);
    for (let strip = Math.max(0, Math.floor(from / stripS)); strip * stripS < Math.min(from + span, lengths[side]); strip++) {
      const image = imageOf(side, level, Math.floor(strip / STRIPS));
      if (!image.complete || !image.naturalWidth) continue;
      ctx.drawImage(image, 0, strip % STRIPS * HIGH, STRIP, HIGH, (strip * stripS - from) * scale, 0, stripS * scale, high);
    }
    /* What is gone, as black bars along the top; the moment, as a line. Black becomes ink by the tint. */
    ctx.fillStyle = '#000';
    if (side === 'before') {
      let end = 0;
      for (const [s, e] of player.map.concat([[lengths.before, lengths.before]])) {
        if (s > end && s >= from && end <= from + span) ctx.fillRect((end - from) * scale, 0, Math.max(1, (s - end) * scale), 6 * ratio);
        end = e;
      }
    }
    ctx.fillRect((now - from) * scale - ratio / 2, 0, Math.max(1, ratio), high);
  }
  function draw() {
    isAsked = false;
    const now = player.now();
    const span = +byId('span').value;
    /* The moment stands in the middle of both, but for the ends of the take; pages are turned where things had better not move. */
    const middle = isCalm ? now.before % span : Math.max(span / 2, now.before - (player.data.length - span)), lead = Math.min(now.before, middle);
    drawSide('before', now.before, lead);
    if (!canvases.after.hidden) drawSide('after', now.after, lead);
  }
  function ask() {
    if (isAsked) return;
    isAsked = true;
    requestAnimationFrame(draw);
  }
  for (const side of ['before', 'after']) canvases[side].addEventListener('click', event => {
    const t = shown[side][0] + event.offsetX / canvases[side].clientWidth * shown[side][1];
    player.seek(Math.max(0, Math.min(player.data.length, side === 'after' ? player.toBefore(t).t : t)));
  });
  byId('span').addEventListener('change', ask);
  addEventListener('resize', ask);
  player.watch(ask);
  new IntersectionObserver(ask).observe(part); /* pictures are asked for when they come into sight */
})();
