const frontierPlot = document.getElementById('frontier-plot');
const shown = {channel: data.harshest === null ? channels[0] : data.harshest, at: -1};
const HALO = '0 0 3px #fff, 0 0 3px #fff, 0 0 3px #fff';
const PAPER_HEIGHT = 330;
const HINT = 'Hover over a format, or move to one with the arrow keys, for its figures and its spec; click it or press ' +
  'Enter to pin it below.';

const panelRows = () => rows.map((row, place) => ({row, place}))
  .filter(({row}) => row.channel === shown.channel && row.residual_byte_error_rate)
  .sort((one, other) => one.row.useful_bytes_per_s - other.row.useful_bytes_per_s || one.place - other.place);

function floorRate() {
  const seen = rows.map(row => row.residual_byte_error_rate && row.residual_byte_error_rate.rate).filter(rate => rate);
  return 10 ** (Math.floor(Math.log10(Math.min(0.1, ...seen))) - 1);
}

function describe(row) {
  return `${nameOf(row)}: ${row.useful_bytes_per_s.toFixed(1)} bytes/s, a load takes ${duration(row.tape_s)}; ` +
    `${successOf(row)} load right, 95 % interval; residual byte error ${errorOf(row)}.`;
}

function hoverText(row) {
  const width = narrow() ? 34 : 56;
  return [`<b>${plain(shorter(nameOf(row), width))}</b>`,
    `${row.useful_bytes_per_s.toFixed(1)} bytes/s, a load ${duration(row.tape_s)}`,
    plain(`right ${successOf(row)}`), plain(`byte error ${errorOf(row)}`), '',
    ...(narrow() ? ['spec below'] : inLines(shorter(row.codec_spec, 12 * width), width).map(plain))].join('<br>');
}

// The highest limit of each receiver: what no format that it hears can exceed.
function limitsOf(found) {
  const receivers = unique(found.map(({row}) => row.receiver));
  return receivers.map(receiver => ({receiver, bytes: Math.max(0, ...found.filter(({row}) => row.receiver === receiver)
    .map(({row}) => row.limit_bits_per_s ?? row.capacity_bits_per_s ?? 0)) / 8})).filter(({bytes}) => bytes);
}

function frontierTraces(found, floor) {
  // Letters away from each other.
  const slower = pins.length > 1 && rows[pins[0]].useful_bytes_per_s > rows[pins[1]].useful_bytes_per_s ? 1 : 0;
  const traces = found.map(({row, place}) => {
    const rate = row.residual_byte_error_rate;
    const at = Math.max(rate.rate, floor);
    const slot = pins.indexOf(place);
    return {
      x: [row.useful_bytes_per_s], y: [at], customdata: [place], cliponaxis: false, mode: slot < 0 ? 'markers' : 'markers+text',
      text: [slot < 0 ? '' : `<b>${'AB'[slot]}</b>`], textposition: slot >= 0 && slot === slower ? 'top left' : 'top right', textfont: {size: 17, color: INK, shadow: HALO},
      hovertext: [hoverText(row)], hovertemplate: '%{hovertext}<extra></extra>',
      marker: {symbol: symbolOf(row), size: narrow() ? 12 : 14, color: colourOf(row), opacity: 1,
        line: {color: INK, width: slot < 0 ? 0.5 : 2.5}},
      error_y: {type: 'data', symmetric: false, array: [rate.high - at],
        arrayminus: [at - Math.max(Math.min(rate.low, at), floor)], color: colourOf(row), thickness: 1.6, width: 5},
    };
  });
  const receivers = unique(found.map(({row}) => row.receiver));
  for (const receiver of receivers) {
    const line = found.filter(({row}) => row.on_frontier && row.receiver === receiver);
    traces.push({
      x: line.map(({row}) => row.useful_bytes_per_s), y: line.map(({row}) => Math.max(row.residual_byte_error_rate.rate, floor)),
      mode: 'lines+markers', line: {color: '#888', dash: 'dash', width: 1.4, shape: 'vh'}, hoverinfo: 'skip',
      marker: {symbol: 'circle-open', size: 25, color: '#777', line: {width: 1.2}},
    });
  }
  return traces;
}

function drawFrontier(paper) {
  const found = panelRows(), floor = floorRate(), limits = limitsOf(found);
  const speeds = found.map(({row}) => row.useful_bytes_per_s).concat(limits.map(({bytes}) => bytes));
  const low = speeds.length ? Math.min(...speeds) : 1, high = speeds.length ? Math.max(...speeds) : 10;
  const powers = [];
  for (let power = Math.ceil(Math.log10(floor)) + 1; power <= 0; power += 1) powers.push(10 ** power);
  const layout = baseLayout({
    width: paper, height: paper ? PAPER_HEIGHT : narrow() ? 380 : 460, margin: {l: narrow() ? 62 : 84, r: 14, t: 26, b: 54},
    xaxis: {type: 'log', range: [Math.log10(low / 1.8), Math.log10(high * 1.8)], gridcolor: RULE, dtick: 1,
      title: {text: 'useful bytes per second', font: {size: 13}}, fixedrange: true, zeroline: false,
      minor: {ticks: 'inside', ticklen: 3}, ticks: 'outside', tickcolor: '#999'},
    yaxis: {type: 'log', range: [Math.log10(floor / 2), Math.log10(2)], gridcolor: RULE, fixedrange: true,
      title: {text: paper || narrow() ? 'residual byte error' : 'residual byte error rate, 95 % interval', standoff: 6, font: {size: 13}},
      tickvals: [floor, ...powers],
      ticktext: ['none seen', ...powers.map(power => power >= 0.001 ? String(power) : power.toExponential(0))]},
    shapes: limits.map(({bytes}) => ({type: 'line', x0: bytes, x1: bytes, yref: 'paper', y0: 0, y1: 1,
      line: {color: '#333', width: 2.5}})),
    // On the side where there is more room.
    annotations: limits.map(({receiver, bytes}) => ({x: Math.log10(bytes), y: 1, yref: 'paper',
      xanchor: bytes < Math.sqrt(low * high) ? 'left' : 'right', yanchor: 'bottom', showarrow: false, font: {size: 11, color: QUIET},
      text: (limits.length > 1 ? `${plain(shorter(receiver, 20))}: ` : '') + (narrow() ? 'limit' : 'limit, an upper bound')})),
  });
  return Plotly.react(frontierPlot, frontierTraces(found, floor), layout, CONFIG);
}

function pointAt(place) {
  const found = panelRows();
  const curve = found.findIndex(one => one.place === place);
  shown.at = curve;
  for (const key of document.querySelectorAll('#keys button')) {
    key.classList.toggle('at', Number(key.dataset.row) === place);
  }
  if (curve < 0) { say(HINT); return; }
  const row = rows[place];
  document.getElementById('pointed').replaceChildren(describe(row), element('br'),
    specOf(row.codec_spec, 'code'));
  Plotly.Fx.hover(frontierPlot, [{curveNumber: curve, pointNumber: 0}]);
}

function unpoint() {
  shown.at = -1;
  Plotly.Fx.unhover(frontierPlot);
}

function drawKeys() {
  const keys = document.getElementById('keys');
  keys.replaceChildren(...panelRows().map(({row, place}) => {
    const slot = pins.indexOf(place);
    return element('button', {type: 'button', 'data-row': place, 'aria-pressed': String(slot >= 0),
      title: slot >= 0 ? 'Unpin' : 'Pin', onclick: () => { pin(place); refocus(`#keys [data-row="${place}"]`); },
      onmouseenter: () => pointAt(place), onfocus: () => pointAt(place), onblur: unpoint, onmouseleave: unpoint},
    element('span', {class: 'glyph', style: {color: colourOf(row)}, 'aria-hidden': 'true'}, glyphOf(row)),
    shorter(nameOf(row), 60), slot >= 0 ? element('b', {class: 'letter'}, 'AB'[slot]) : null);
  }), element('span', {class: 'key'}, '\u25cb on the frontier'));
}

const refocus = selector => document.querySelector(selector)?.focus();

async function startFrontier() {
  radios(document.getElementById('channels'), 'channel', channels, shown.channel, async channel => {
    shown.channel = channel;
    shown.at = -1;
    say(HINT);
    drawKeys();
    await drawFrontier();
  });
  say(HINT);
  drawKeys();
  await drawFrontier();
  frontierPlot.on('plotly_hover', event => {
    const place = event.points[0].customdata;
    if (place === undefined) return;
    document.getElementById('pointed').replaceChildren(describe(rows[place]), element('br'),
      specOf(rows[place].codec_spec, 'code'));
  });
  frontierPlot.on('plotly_click', event => {
    const place = event.points[0].customdata;
    if (place !== undefined) pin(place);
  });
  frontierPlot.addEventListener('keydown', event => {
    const found = panelRows();
    if (!found.length) return;
    const step = {ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1}[event.key];
    if (step) pointAt(found[(shown.at + step + found.length + (shown.at < 0 && step < 0 ? 1 : 0)) % found.length].place);
    else if ((event.key === 'Enter' || event.key === ' ') && shown.at >= 0) {
      const place = found[shown.at].place;
      pin(place);
      pointAt(place);
    } else if (event.key === 'Escape') { unpoint(); say(HINT); }
    else return;
    event.preventDefault();
  });
}
