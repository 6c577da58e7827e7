/* Paper: a line says whose page it is and what was asked; charts, drawn at the size of the screen, are scaled to the width they have on the sheet. */
(function () {
  "use strict";
  function asked() {
    const shop = document.getElementById("shop-name"), said = [shop ? shop.textContent : ""];
    document.querySelectorAll("#filters .mantine-InputWrapper-root").forEach((f) => {
      const label = f.querySelector("label"), input = f.querySelector("input:not([type=hidden])");
      if (label && input && input.value) said.push(label.textContent + ": " + input.value);
    });
    const line = document.createElement("p"), head = document.querySelector(".page-head");
    line.className = "paper-line";
    line.textContent = said.filter(Boolean).join(" \u00b7 ");
    if (head) head.after(line);
  }
  function toPaper() {
    asked();
    document.querySelectorAll("details.fold:not([open])").forEach((d) => { d.open = true; d.dataset.folded = ""; }); /* paper shows what is folded */
    document.querySelectorAll(".js-plotly-plot .svg-container").forEach((box) => {
      const w = box.offsetWidth || parseFloat(box.style.width), h = box.offsetHeight || parseFloat(box.style.height);
      if (!w || !h || box.dataset.screen) return;
      box.dataset.screen = box.getAttribute("style") || "";
      box.style.cssText = "position:relative;width:100%;height:auto;aspect-ratio:" + w + "/" + h;
      box.querySelectorAll(".main-svg").forEach((svg) => {
        svg.dataset.screen = JSON.stringify([svg.getAttribute("width"), svg.getAttribute("height")]);
        svg.setAttribute("viewBox", "0 0 " + w + " " + h);
        svg.setAttribute("width", "100%");
        svg.setAttribute("height", "100%");
      });
    });
  }
  function toScreen() {
    document.querySelectorAll(".paper-line").forEach((p) => p.remove());
    document.querySelectorAll("details[data-folded]").forEach((d) => { d.open = false; delete d.dataset.folded; });
    document.querySelectorAll(".svg-container[data-screen]").forEach((box) => {
      box.setAttribute("style", box.dataset.screen);
      delete box.dataset.screen;
      box.querySelectorAll(".main-svg[data-screen]").forEach((svg) => {
        const [w, h] = JSON.parse(svg.dataset.screen);
        svg.setAttribute("width", w); svg.setAttribute("height", h); svg.removeAttribute("viewBox"); delete svg.dataset.screen;
      });
    });
  }
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", toScreen);
})();
