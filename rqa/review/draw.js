(() => {
  const specs = JSON.parse(document.getElementById("specs").textContent);
  for (const place of document.querySelectorAll(".live")) {
    const picture = place.parentElement;
    picture.classList.add("drawn");
    vegaEmbed(place, specs[Number(place.dataset.figure)], { ast: true, actions: false, renderer: "svg", mode: "vega-lite" })
      .catch(() => picture.classList.remove("drawn"));
  }
})();
