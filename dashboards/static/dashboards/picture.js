// Draws each picture from the description that stands beside it.
"use strict";

(() => {
  const config = { displayModeBar: false, responsive: true, showSendToCloud: false, plotlyServerURL: "", displaylogo: false };

  function draw(root) {
    for (const place of root.querySelectorAll("[data-picture]:not([data-drawn])")) {
      const described = JSON.parse(document.getElementById(place.dataset.picture).textContent);
      place.dataset.drawn = "yes";
      // As high as it has rows, also when it is drawn anew for another width or for paper.
      if (described.layout.height) place.style.height = place.style.minHeight = `${described.layout.height}px`;
      Plotly.newPlot(place, described.data, described.layout, config);
    }
  }

  draw(document);
  document.addEventListener("htmx:afterSwap", (event) => draw(event.target));
  // Paper is narrower than a screen.
  window.addEventListener("beforeprint", () => {
    for (const place of document.querySelectorAll("[data-drawn]")) Plotly.Plots.resize(place);
  });
})();
