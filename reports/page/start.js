const PAPER = 690;

async function start() {
  document.body.classList.add('scripted');
  startTable();
  await startFrontier();
  drawSlots();
  startSweeps();
  let width = window.innerWidth;
  window.addEventListener('resize', () => {
    if (window.innerWidth === width) return;
    width = window.innerWidth;
    drawFrontier();
    drawSweeps();
  });
  // A drawing is as wide as the window; the paper is narrower.
  window.addEventListener('beforeprint', () => {
    for (const plot of document.querySelectorAll('.slot .js-plotly-plot')) Plotly.relayout(plot, {width: PAPER / 2 - 45});
    drawFrontier(PAPER);
    drawSweeps(PAPER);
  });
  window.addEventListener('afterprint', () => {
    for (const plot of document.querySelectorAll('.slot .js-plotly-plot')) Plotly.relayout(plot, {width: null, autosize: true});
    drawFrontier();
    drawSweeps();
  });
  document.body.dataset.ready = 'true';
}

start();
