const FACTOR_NAMES = {0.5: 'half', 1: 'as it is', 2: 'twice'};

const everySwept = rows.map((row, place) => ({row, place, sweeps: data.evidence[place].sweeps}))
  .filter(({sweeps}) => sweeps);
const sweptChannels = unique(everySwept.map(({row}) => row.channel));
let sweptChannel = sweptChannels.includes(data.harshest) ? data.harshest : sweptChannels[0];

const sweptRows = () => everySwept.filter(({row}) => row.channel === sweptChannel);

const figureOf = value => String(Number(value.toPrecision(3)));

function drawSweeps(paper) {
  const plot = document.getElementById('sweeps-plot');
  if (!plot) return;
  const found = sweptRows();
  const knobs = unique(found.flatMap(({sweeps}) => sweeps.map(sweep => sweep.knob)));
  const width = paper || plot.clientWidth || 700;
  const across = Math.max(1, Math.min(4, Math.floor(width / (paper ? 225 : 280)), knobs.length));
  const down = Math.ceil(knobs.length / across);
  const gapX = across > 1 ? 0.045 : 0, height = down * (paper ? 205 : 235) + 40;
  const cell = (1 - gapX * (across - 1)) / across, gapY = 78 / height;
  const layout = baseLayout({height, margin: {l: 52, r: 8, t: 26, b: 46}, annotations: [], width: paper});
  if (paper) layout.font.size = 9;
  const traces = [];
  knobs.forEach((knob, number) => {
    const column = number % across, line = Math.floor(number / across), suffix = number ? String(number + 1) : '';
    const tall = (1 - gapY * (down - 1)) / down, top = 1 - line * (tall + gapY);
    const left = column * (cell + gapX);
    const any = found.map(({sweeps}) => sweeps.find(sweep => sweep.knob === knob)).find(sweep => sweep);
    layout[`xaxis${suffix}`] = {domain: [left, left + cell], anchor: `y${suffix}`, type: 'log', fixedrange: true,
      range: [-0.42, 0.42], tickvals: any.points.map(point => point.factor), showgrid: false, zeroline: false, tickangle: 0,
      ticktext: any.points.map(point => `${FACTOR_NAMES[point.factor]}<br>${figureOf(point.value)} ${plain(any.unit)}`)};
    layout[`yaxis${suffix}`] = {domain: [top - tall, top], anchor: `x${suffix}`, range: [-4, 104], fixedrange: true,
      gridcolor: RULE, tickvals: [0, 50, 100], ticktext: ['0 %', '50 %', '100 %'], zeroline: false, showticklabels: column === 0};
    layout.annotations.push({text: `<b>${plain(knob)}</b>`, xref: 'paper', x: left, xanchor: 'left', yref: 'paper',
      y: top, yanchor: 'bottom', showarrow: false, font: {size: 12}});
    found.forEach(({row, sweeps}, order) => {
      const sweep = sweeps.find(one => one.knob === knob);
      if (!sweep) return;
      // Beside each other, so that intervals do not hide behind each other.
      const aside = 10 ** (0.035 * (order - (found.length - 1) / 2) * Math.min(1, 6 / found.length));
      traces.push({
        x: sweep.points.map(point => point.factor * aside), y: sweep.points.map(point => 100 * point.rate),
        xaxis: `x${suffix}`, yaxis: `y${suffix}`, mode: 'lines+markers', line: {color: colourOf(row), width: 1.5},
        marker: {symbol: symbolOf(row), size: 8, color: colourOf(row)},
        error_y: {type: 'data', symmetric: false, array: sweep.points.map(point => 100 * (point.high - point.rate)),
          arrayminus: sweep.points.map(point => 100 * (point.rate - point.low)), thickness: 1, width: 3},
        hovertext: sweep.points.map(point => `${plain(shorter(nameOf(row), 40))}<br>${plain(knob)} ` +
          `${figureOf(point.value)} ${plain(sweep.unit)}<br>${point.right} of ${point.trials} right<br>` +
          `${(100 * point.low).toFixed(0)} to ${(100 * point.high).toFixed(0)} %`),
        hovertemplate: '%{hovertext}<extra></extra>',
      });
    });
  });
  return Plotly.react(plot, traces, layout, CONFIG);
}

function tellSweeps() {
  const found = sweptRows();
  const others = channels.filter(channel => !sweptChannels.includes(channel));
  document.getElementById('sweeps-text').textContent = 'Share of tapes that load right over ' +
    `${shorter(sweptChannel, 80)} as each figure of the channel goes from half to twice as bad, ` +
    `${data.evidence[found[0].place].sweep_tapes} tapes a point, 95 % intervals.` +
    (others.length ? ` Not turned: the figures of ${shorter(others.join(', '), 200)}; report --over all turns them too.` : '');
  document.getElementById('sweeps-keys').replaceChildren(...found.map(({row}) => element('span', {class: 'key'},
    element('span', {class: 'glyph', style: {color: colourOf(row)}, 'aria-hidden': 'true'}, glyphOf(row)),
    shorter(nameOf(row), 60))));
}

function startSweeps() {
  if (!document.getElementById('sweeps-text')) return;
  if (sweptChannels.length > 1) {
    radios(document.getElementById('sweeps-channels'), 'swept', sweptChannels, sweptChannel, channel => {
      sweptChannel = channel;
      tellSweeps();
      drawSweeps();
    });
  }
  tellSweeps();
  drawSweeps();
}
