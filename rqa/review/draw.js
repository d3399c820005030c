(() => {
  const specs = JSON.parse(document.getElementById("specs").textContent);
  // A layer without marks is announced as a nameless symbol.
  const quiet = place => place.querySelectorAll('[role="graphics-symbol"]:empty').forEach(e => e.setAttribute("aria-hidden", "true"));
  const draw = place => {
    if (place.dataset.begun) return;
    place.dataset.begun = "yes";
    const picture = place.parentElement;
    picture.classList.add("drawn");
    const how = { ast: true, actions: false, renderer: "svg", mode: "vega-lite", defaultStyle: false, tooltip: { theme: "rqa" } };
    vegaEmbed(place, specs[Number(place.dataset.figure)], how)
      .then(() => quiet(place))
      .catch(() => picture.classList.remove("drawn"));
  };
  // A chart measures the room it has, and has none in a folded part: it is drawn when the part is opened.
  for (const part of document.querySelectorAll("details.part")) {
    const all = () => part.open && part.querySelectorAll(".live").forEach(draw);
    part.addEventListener("toggle", all);
    all();
  }
})();
