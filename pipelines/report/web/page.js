// Arrow keys walk along the values of a figure; Tab leaves it. No request is made, nothing is stored.
document.querySelectorAll(".points").forEach(function (list) {
  list.addEventListener("keydown", function (event) {
    var step = { ArrowLeft: -1, ArrowRight: 1 }[event.key], items = Array.prototype.slice.call(list.children);
    var at = items.indexOf(document.activeElement), next = event.key === "Home" ? 0 : event.key === "End" ? items.length - 1 : at + step;
    if (!(next >= 0 && next < items.length)) { return; }
    items[at].tabIndex = -1; items[next].tabIndex = 0; items[next].focus(); event.preventDefault();
  });
});
