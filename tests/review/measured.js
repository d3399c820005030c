// What cannot be read on the page as it is laid out now: what sticks out, what is cut off, texts that lie on each other.
(() => {
  const faults = [];
  const shown = e => e.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true });
  const name = e => (e.id ? "#" + e.id + " " : "") + e.tagName.toLowerCase() + " “" + e.textContent.trim().slice(0, 40) + "”";
  const room = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > room) faults.push(`the page is ${document.documentElement.scrollWidth} wide in ${room}`);
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement;
    if (!node.data.trim() || e.closest("script, style, title, .unseen") || !shown(e)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const scrolls = e.closest(".wide"), svg = e.closest("svg");
    for (const box of range.getClientRects()) {
      if (box.width < 1 || box.height < 1) continue;
      const frame = svg ? svg.getBoundingClientRect() : null;
      if (svg && (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1))
        faults.push(`cut off in its picture: ${name(e)}`);
      if (!scrolls && (box.left < -1 || box.right > room + 1)) faults.push(`sticks out: ${name(e)}`);
      texts.push({ e, box, svg });
    }
    for (let up = e; up && !svg && up !== scrolls; up = up.parentElement) {
      const style = getComputedStyle(up);
      if (style.overflowX === "hidden" && up.scrollWidth > up.clientWidth + 1) faults.push(`cut off: ${name(e)}`);
    }
  }
  // Letters reach less high and low than the boxes of their lines.
  const inner = b => ({ left: b.left + 1, right: b.right - 1, top: b.top + 0.22 * b.height, bottom: b.bottom - 0.22 * b.height });
  texts.sort((a, b) => a.box.top - b.box.top);
  for (let i = 0; i < texts.length; i++) {
    const a = inner(texts[i].box);
    for (let j = i + 1; j < texts.length && texts[j].box.top < texts[i].box.bottom; j++) {
      const b = inner(texts[j].box);
      if (texts[i].e === texts[j].e || texts[i].svg !== texts[j].svg) continue;
      if (texts[i].e.contains(texts[j].e) || texts[j].e.contains(texts[i].e)) continue;
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.5)
        faults.push(`lie on each other: ${name(texts[i].e)} and ${name(texts[j].e)}`);
    }
  }
  return { faults: [...new Set(faults)], texts: texts.length };
})()
