// What a careful reader would complain about, as a list of sentences. The page has no script of its own; a test runs
// this beside it.
(() => {
  const found = [];
  const seen = e => { const r = e.getBoundingClientRect(); return r.width > 0 && r.height > 0; };
  const rgb = text => {
    const m = text.match(/[\d.]+/g);
    return m ? { r: +m[0], g: +m[1], b: +m[2], a: m.length > 3 ? +m[3] : 1 } : { r: 0, g: 0, b: 0, a: 0 };
  };
  const luminance = c => {
    const part = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * part(c.r) + 0.7152 * part(c.g) + 0.0722 * part(c.b);
  };
  const contrast = (a, b) => {
    const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.a > 0.99) return c;
    }
    return { r: 255, g: 255, b: 255, a: 1 };
  };

  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) found.push(`the page is ${root.scrollWidth} wide of ${root.clientWidth}`);
  for (const e of document.querySelectorAll('body *')) {
    const r = e.getBoundingClientRect();
    const scrolls = e.closest('.scroll');
    if (seen(e) && !scrolls && !e.closest('svg') && r.right > root.clientWidth + 1)
      found.push(`<${e.tagName}> reaches ${r.right}: ${e.textContent.slice(0, 40)}`);
  }

  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const node = texts.currentNode, e = node.parentElement;
    if (!node.data.trim() || !seen(e) || e.closest('svg')) continue;
    const ratio = contrast(rgb(getComputedStyle(e).color), ground(e));
    if (ratio < 4.5) found.push(`contrast ${ratio.toFixed(2)}: ${node.data.trim().slice(0, 40)}`);
  }

  let charts = 0;
  for (const chart of document.querySelectorAll('svg.chart')) {
    if (!seen(chart)) continue;
    charts += 1;
    const name = chart.querySelector('title').id;
    const box = chart.viewBox.baseVal;
    const scale = chart.getBoundingClientRect().width / box.width;
    const paper = ground(chart);
    const words = [...chart.querySelectorAll('text')].map(t => ({ t, b: t.getBBox(), s: t.textContent }));
    for (const { t, b, s } of words) {
      if (b.x < -0.5 || b.y < -0.5 || b.x + b.width > box.width + 0.5 || b.y + b.height > box.height + 0.5)
        found.push(`${name}: "${s}" leaves the chart`);
      const style = getComputedStyle(t);
      const onMap = t.classList.contains('tm');
      const cell = onMap && [...chart.querySelectorAll('.mc')].find(c => {
        const r = c.getBBox();
        return r.x <= b.x + b.width / 2 && r.x + r.width >= b.x + b.width / 2 && r.y <= b.y + b.height / 2 &&
          r.y + r.height >= b.y + b.height / 2;
      });
      const below = cell ? rgb(getComputedStyle(cell).fill) : paper;
      const ratio = contrast(rgb(style.fill), below);
      if (ratio < 4.5) found.push(`${name}: contrast ${ratio.toFixed(2)} of "${s}"`);
      const points = parseFloat(style.fontSize) * scale * 0.75;
      if (points < 8.95) found.push(`${name}: "${s}" is ${points.toFixed(1)} pt`);
    }
    for (let i = 0; i < words.length; i++) for (let j = i + 1; j < words.length; j++) {
      const [a, b] = [words[i].b, words[j].b];
      const across = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
      const down = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
      if (across > 1 && down > 4) found.push(`${name}: "${words[i].s}" over "${words[j].s}"`);
    }
    const drawn = { '.ln': 'stroke', '.mk': 'fill', '.mh': 'stroke', '.mx': 'stroke', '.eb': 'stroke', '.hb': 'fill',
      '.rl': 'stroke', '.rm': 'stroke', '.rb': 'stroke', '.be': 'stroke', '.vx': 'stroke', '.ax': 'stroke', '.hs': 'stroke',
      '.mm': 'stroke', '.ring': 'stroke' };
    for (const [kind, property] of Object.entries(drawn)) for (const e of chart.querySelectorAll(kind)) {
      const ratio = contrast(rgb(getComputedStyle(e)[property]), paper);
      if (ratio < 3) { found.push(`${name}: contrast ${ratio.toFixed(2)} of ${kind}`); break; }
    }
  }
  const figures = document.querySelectorAll('figure').length;
  if (charts != figures || charts == 0) found.push(`${charts} charts are shown in ${figures} figures`);

  if (matchMedia('print').matches) {
    for (const d of document.querySelectorAll('details table')) if (!seen(d)) found.push('a data table is not printed');
    const c = ground(document.body);
    if (luminance(c) < 0.9) found.push('print is not light');
    for (const e of document.querySelectorAll('p, td, th, dd, dt, figcaption, caption'))
      if (seen(e) && parseFloat(getComputedStyle(e).fontSize) < 11.9) found.push(`${e.tagName} is printed too small`);
  }
  return found;
})()
