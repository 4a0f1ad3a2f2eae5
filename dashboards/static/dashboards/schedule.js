// How many rows are ticked, said as it changes.
"use strict";

const form = document.getElementById("giving");
const said = document.getElementById("ticked");

function count() {
  const ticked = form.querySelectorAll("input[name=due]:checked").length;
  said.textContent = ticked ? `${ticked} ticked` : "";
}

if (form && said) {
  form.addEventListener("change", count);
  window.addEventListener("pageshow", count);
}
