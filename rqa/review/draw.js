(() => {
  const specs = JSON.parse(document.getElementById("specs").textContent);
  // A layer without marks is announced as a nameless symbol.
  const quiet = place => place.querySelectorAll('[role="graphics-symbol"]:empty').forEach(e => e.setAttribute("aria-hidden", "true"));
  for (const place of document.querySelectorAll(".live")) {
    const picture = place.parentElement;
    picture.classList.add("drawn");
    vegaEmbed(place, specs[Number(place.dataset.figure)], { ast: true, actions: false, renderer: "svg", mode: "vega-lite" })
      .then(() => quiet(place))
      .catch(() => picture.classList.remove("drawn"));
  }
})();
