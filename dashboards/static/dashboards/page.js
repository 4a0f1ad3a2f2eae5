// What every page does: send a filter form when a choice is made, and send no form twice.
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
