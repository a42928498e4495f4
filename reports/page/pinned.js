const pins = firstPins();
const QUIET_VOLUME = 0.15;

// What a person would hold beside each other first: the two best of the channel shown.
function firstPins() {
  const channel = data.harshest === null ? channels[0] : data.harshest;
  const ours = rows.map((row, place) => ({row, place})).filter(({row}) => row.channel === channel && row.load_success);
  ours.sort((one, other) => Number(other.row.on_frontier) - Number(one.row.on_frontier) ||
    other.row.load_success.rate - one.row.load_success.rate || other.row.useful_bytes_per_s - one.row.useful_bytes_per_s);
  return ours.slice(0, 2).map(({place}) => place);
}

const waveforms = [];
let oldest = 0;

function pin(place) {
  const slot = pins.indexOf(place);
  if (slot >= 0) { pins.splice(slot, 1); oldest = 0; }
  else if (pins.length < 2) pins.push(place);
  else { pins[oldest] = place; oldest = 1 - oldest; }
  drawKeys();
  drawFrontier();
  drawSlots();
  markPinnedRows();
}

function drawSlots() {
  const slots = document.getElementById('slots');
  // A drawing settles its margins after it has been made; taken down before that, it would complain.
  for (const [plot, settled] of waveforms.splice(0)) settled.then(() => Plotly.purge(plot));
  slots.replaceChildren(...pins.map((place, slot) => slotOf(place, slot)));
  if (!pins.length) slots.replaceChildren(element('p', {class: 'quiet'}, 'Nothing is pinned: click a format above.'));
  pins.forEach((place, slot) => {
    const excerpt = data.evidence[place].excerpt;
    const plot = document.getElementById(`wave-${slot}`);
    if (excerpt) waveforms.push([plot, drawWaveform(plot, excerpt, `tape ${excerpt.trial}, worn`)]);
  });
}

function slotOf(place, slot) {
  const row = rows[place], entry = data.evidence[place];
  return element('article', {class: 'slot', 'data-row': place, 'aria-label': nameOf(row)},
    element('h3', {}, element('b', {class: 'letter'}, 'AB'[slot]),
      element('span', {class: 'glyph', style: {color: colourOf(row)}, 'aria-hidden': 'true'}, glyphOf(row)),
      element('span', {class: 'name'}, shorter(nameOf(row), 200)),
      element('button', {type: 'button', class: 'screen', onclick: () => { pin(place); refocus('#frontier-plot'); },
        'aria-label': `Unpin ${shorter(nameOf(row), 60)}`}, 'Unpin')),
    facts(row, entry), specOf(row.codec_spec, 'p', {class: 'spec'}),
    ...(entry.unseen ? [element('p', {class: 'quiet'}, `Not looked behind: ${entry.unseen}.`)]
      : [...anatomyOf(row, entry.anatomy), ...waveOf(entry.excerpt, slot), ...soundOf(entry)]));
}

function facts(row, entry) {
  const list = [['over', shorter(row.channel, 120)], ['useful', `${row.useful_bytes_per_s.toFixed(1)} bytes/s`],
    ['a load takes', duration(row.tape_s)],
    ['tapes', row.trials ? `${row.right} right, ${row.detected} detected, ${row.silent} silent` : 'none played'],
    ['loads right', `${successOf(row)}`]];
  if (entry.bounds) {
    list.push(['which shows', `at least ${(Math.floor(1000 * entry.bounds.success_at_least) / 10).toFixed(1)} %`]);
    list.push(['silent losses', `at most ${(Math.ceil(1000 * entry.bounds.silent_at_most) / 10).toFixed(1)} %`]);
  }
  list.push(['byte error', errorOf(row)]);
  list.push(['decoder', row.relay_cost ? row.relay_cost.in_words ?? row.needs : row.needs]);
  if (row.share_of_capacity) list.push(['of the limit', `${(100 * row.share_of_capacity).toPrecision(2)} %`]);
  return element('dl', {class: 'figures'}, ...list.flatMap(([name, value]) =>
    [element('dt', {}, name), element('dd', {}, value)]));
}

const barOf = (kind, share) => share ? element('span', {class: kind, style: {width: `${100 * share}%`}}) : null;

function anatomyOf(row, anatomy) {
  const made = [element('h4', {}, 'What the losses were')];
  const lost = row.trials - row.right;
  if (!anatomy.tapes.length) {
    made.push(element('p', {}, lost ? `None of the ${lost} lost tapes failed again when played once more.`
      : `None of ${row.trials} tapes was lost.`));
    return made;
  }
  const count = anatomy.tapes.length;
  made.push(element('p', {class: 'quiet'}, `${count} of ${lost} lost tapes, each played again with one effect taken ` +
    'away: how many then load right.'));
  const bars = anatomy.causes.map(({cause, alone, shared}) => element('tr', {},
    element('th', {scope: 'row'}, cause),
    element('td', {class: 'bar'}, barOf('alone', alone / count), barOf('shared', shared / count)),
    element('td', {class: 'n'}, alone || shared ? [alone ? `${alone} alone` : '', shared ? `${shared} with others` : '']
      .filter(Boolean).join(', ') : '-')));
  if (anatomy.by_none) {
    bars.push(element('tr', {}, element('th', {scope: 'row'}, 'no single one'),
      element('td', {class: 'bar'}, barOf('none', anatomy.by_none / count)), element('td', {class: 'n'}, `${anatomy.by_none}`)));
  }
  made.push(element('table', {class: 'anatomy'}, element('tbody', {}, ...bars)));
  const signs = Object.entries(anatomy.signs).map(([sign, tapes]) => `${sign} on ${tapes}`).join(', ');
  const told = anatomy.told.map(({what, tapes}) => `${what} (${tapes})`).join('; ');
  made.push(element('p', {}, `In the bits: ${signs}.`));
  if (told) made.push(element('p', {}, `The decoder noticed, on how many tapes: ${told}.`));
  return made;
}

function waveOf(excerpt, slot) {
  const where = excerpt.at_random ? `No bit of tape ${excerpt.trial} made trouble: a place drawn at random.`
    : `Where the trouble of tape ${excerpt.trial} begins, bit ${excerpt.place}.`;
  const bits = excerpt.worn.bits;
  const told = `${where} Sent ${bits.map(bit => bit.sent).join('')}, heard ` +
    `${bits.map(bit => bit.heard === null ? '?' : bit.heard).join('')}.`;
  return [element('h4', {}, 'On the tape'),
    element('div', {class: 'plot', id: `wave-${slot}`, role: 'img', 'aria-label': told}),
    element('p', {class: 'quiet'}, `${where} Left track blue, right track orange, black where both are the same; ` +
      'a bit on red was heard wrong, ? not at all.' +
      (excerpt.worn.at_once > 2 ? ' Bits that are heard at once stand beside each other over their moment.' : ''))];
}

function soundOf(entry) {
  const player = (name, clip) => {
    const audio = element('audio', {controls: '', preload: 'none', src: `data:audio/flac;base64,${clip}`,
      'aria-label': name});
    audio.volume = QUIET_VOLUME;
    return element('figure', {}, element('figcaption', {}, name), audio);
  };
  return [element('h4', {class: 'screen'}, 'How it sounds'), element('div', {class: 'sounds screen'},
    player('fresh', entry.sound.fresh), player('worn', entry.sound.worn))];
}
