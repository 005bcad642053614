(function () {
  var form = document.querySelector(".controls"), list = document.querySelector(".worklist");
  if (!form || !list) { return; }
  var cards = Array.prototype.slice.call(list.children), status = form.querySelector("[role=status]");
  function kept(card) {
    return Array.prototype.every.call(form.querySelectorAll("[data-filter]"), function (box) {
      var have = card.getAttribute("data-" + box.getAttribute("data-filter"));
      return !box.value || have.split("|").indexOf(box.value) >= 0;
    });
  }
  function number(card, name) {
    var text = card.getAttribute("data-" + name);
    return text === "" || text === null ? Infinity : Number(text);
  }
  function show() {
    var name = form.querySelector("[data-sort]").value, shown = 0;
    cards.slice().sort(function (a, b) {
      return number(a, name) - number(b, name) || cards.indexOf(a) - cards.indexOf(b);
    }).forEach(function (card) {
      card.hidden = !kept(card);
      shown += card.hidden ? 0 : 1;
      list.appendChild(card);
    });
    status.textContent = status.getAttribute("data-text").replace("#", shown).replace("%", cards.length);
  }
  form.addEventListener("change", show);
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  form.hidden = false;
  show();
})();
