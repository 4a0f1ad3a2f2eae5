// What every page does: send a filter form when a choice is made, send no form twice, and unfold what paper should show.
"use strict";

document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-send-on-change]");
  if (form && event.target.matches("select, input[type=date], input[type=month]")) form.requestSubmit();
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) return event.preventDefault();
  form.dataset.sent = "yes";
  form.setAttribute("aria-busy", "true");
});

// A page that comes back from the browser's memory may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    form.removeAttribute("aria-busy");
  }
});

// What is folded on a screen and belongs on paper is unfolded for it.
window.addEventListener("beforeprint", () => {
  for (const part of document.querySelectorAll("details[data-on-paper]:not([open])")) {
    part.dataset.unfolded = "yes";
    part.open = true;
  }
});

window.addEventListener("afterprint", () => {
  for (const part of document.querySelectorAll("details[data-unfolded]")) {
    delete part.dataset.unfolded;
    part.open = false;
  }
});
