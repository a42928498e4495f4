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
    for (const plot of document.querySelectorAll('.js-plotly-plot')) {
      if (plot.id !== 'sweeps-plot') Plotly.relayout(plot, {width: plot.closest('.slot') ? PAPER / 2 - 30 : PAPER});
    }
    drawSweeps(PAPER);
  });
  window.addEventListener('afterprint', () => {
    for (const plot of document.querySelectorAll('.js-plotly-plot')) {
      if (plot.id !== 'sweeps-plot') Plotly.relayout(plot, {width: null, autosize: true});
    }
    drawSweeps();
  });
  document.body.dataset.ready = 'true';
}

start();
