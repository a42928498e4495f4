const TRACKS = [['left', BLUE], ['right', '#E69F00']];

function waveTraces(drawn, zero, axis) {
  const same = drawn.left.length === drawn.right.length && drawn.left.every((value, at) => value === drawn.right[at]);
  return TRACKS.slice(0, same ? 1 : 2).map(([track, colour]) => ({
    x: drawn[track].map((_, at) => drawn.from_ms + at * drawn.step_ms - zero), y: drawn[track], yaxis: axis,
    mode: 'lines', line: {color: same ? INK : colour, width: 1}, hoverinfo: 'skip',
  }));
}

function bitTraces(bits, zero, key, y) {
  const known = bits.filter(bit => bit.time_ms !== null);
  const looks = {right: INK, wrong: RED, missing: RED};
  const told = bit => key === 'sent' ? String(bit.sent)
    : bit.state === 'missing' ? '?' : bit.state === 'wrong' ? `<b>${bit.heard}</b>` : String(bit.heard);
  return {
    x: known.map(bit => bit.time_ms - zero), y: known.map(() => y), yaxis: 'y2', mode: 'text', text: known.map(told),
    textfont: {size: known.length > 24 ? 9 : narrow() ? 11 : 13, family: '"DejaVu Sans Mono", monospace',
      color: known.map(bit => key === 'sent' ? QUIET : looks[bit.state])},
    hovertext: known.map(bit => `bit ${bit.bit}: recorded ${bit.sent}, heard ` +
      `${bit.heard === null ? 'nothing' : bit.heard}`), hovertemplate: '%{hovertext}<extra></extra>',
  };
}

function zeroOf(drawn, place) {
  const at = drawn.bits.find(bit => bit.bit === place);
  return at && at.time_ms !== null ? at.time_ms : drawn.from_ms;
}

function drawWaveform(plot, excerpt, worn) {
  const before = zeroOf(excerpt.fresh, excerpt.place), after = zeroOf(excerpt.worn, excerpt.place);
  const traces = [...waveTraces(excerpt.fresh, before, 'y'), ...waveTraces(excerpt.worn, after, 'y3'),
    bitTraces(excerpt.worn.bits, after, 'sent', 1), bitTraces(excerpt.worn.bits, after, 'heard', 0)];
  const bad = excerpt.worn.bits.filter(bit => bit.state !== 'right' && bit.time_ms !== null);
  const times = excerpt.worn.bits.map(bit => bit.time_ms).filter(time => time !== null);
  const half = times.length > 1 ? (times[times.length - 1] - times[0]) / (times.length - 1) / 2 : 1;
  const title = (text, y) => ({text, xref: 'paper', x: 0, xanchor: 'left', yref: 'paper', y, yanchor: 'bottom',
    showarrow: false, font: {size: 11, color: QUIET}});
  const layout = baseLayout({
    height: 330, margin: {l: 46, r: 8, t: 18, b: 42},
    xaxis: {title: {text: 'ms from the bit meant', standoff: 4, font: {size: 12}}, gridcolor: RULE, zeroline: true, zerolinecolor: '#bbb',
      fixedrange: !canPoint, anchor: 'y3'},
    yaxis: {domain: [0.69, 0.95], gridcolor: RULE, fixedrange: true, nticks: 5},
    yaxis2: {domain: [0.42, 0.61], range: [-0.7, 1.7], fixedrange: true, showgrid: false, zeroline: false,
      tickvals: [0, 1], ticktext: ['heard', 'sent']},
    yaxis3: {domain: [0, 0.34], gridcolor: RULE, fixedrange: true, nticks: 5},
    shapes: bad.map(bit => ({type: 'rect', yref: 'paper', y0: 0, y1: 0.61, x0: bit.time_ms - after - half,
      x1: bit.time_ms - after + half, fillcolor: RED, opacity: 0.14, line: {width: 0}, layer: 'below'})),
    annotations: [title('as recorded', 0.95), title(worn, 0.34)],
  });
  layout.dragmode = canPoint ? 'zoom' : false;
  return Plotly.react(plot, traces, layout, CONFIG);
}
