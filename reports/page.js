"use strict";
(function () {
  var tip = document.createElement("div");
  tip.id = "tip"; tip.hidden = true; tip.setAttribute("aria-hidden", "true");
  document.body.appendChild(tip);
  document.querySelectorAll("svg [fill] > title, svg path > title").forEach(function (title) {
    var mark = title.parentNode;
    mark.setAttribute("data-tip", title.textContent);
    title.remove();
  });
  document.addEventListener("pointermove", function (event) {
    var mark = event.target.closest ? event.target.closest("[data-tip]") : null;
    tip.hidden = !mark;
    if (!mark) { return; }
    tip.textContent = mark.getAttribute("data-tip");
    tip.style.left = Math.min(event.clientX + 12, innerWidth - tip.offsetWidth - 8) + "px";
    tip.style.top = Math.min(event.clientY + 14, innerHeight - tip.offsetHeight - 8) + "px";
  });
  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape") { tip.hidden = true; }
  });
})();
