/* Gives every slider of the sheet's page, and the field beside it, the name that stands above it: for those who hear the page. */
(function () {
  "use strict";
  const name = () => document.querySelectorAll(".sheet-slider").forEach((group) => {
    const label = group.querySelector(".sheet-label");
    if (!label) return;
    group.querySelectorAll("[role=slider], input").forEach((part) => {
      if (part.getAttribute("aria-label") !== label.textContent) part.setAttribute("aria-label", label.textContent);
    });
  });
  new MutationObserver(name).observe(document.documentElement, { childList: true, subtree: true });
})();
