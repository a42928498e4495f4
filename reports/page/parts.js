const data = JSON.parse(document.getElementById('data').textContent);
const rows = data.rows;
const INK = '#111', QUIET = '#555', RULE = '#ddd', BLUE = '#0072B2', RED = '#D55E00';
const SYMBOLS = ['circle', 'square', 'triangle-up', 'diamond', 'triangle-down', 'pentagon', 'x', 'triangle-left',
  'triangle-right'];
const GLYPHS = ['\u25cf', '\u25a0', '\u25b2', '\u25c6', '\u25bc', '\u2b1f', '\u2716', '\u25c0', '\u25b6'];
const FONT = '"DejaVu Sans", Verdana, sans-serif';

const unique = values => [...new Set(values)];
const channels = unique(rows.map(row => row.channel));
const severalPrograms = unique(rows.map(row => row.program_sha256)).length > 1;
const nameOf = row => row.codec + (row.receiver === 'sound' ? '' : `, ${row.receiver}`) +
  (severalPrograms ? `, ${row.program}` : '');
// What was never played is never drawn, so it takes up no look.
const candidates = unique(rows.filter(row => row.trials).map(nameOf));
const placeOf = row => candidates.indexOf(nameOf(row));
const lookOf = (row, looks, none) => placeOf(row) < 0 ? none : looks[placeOf(row) % looks.length];
const colourOf = row => lookOf(row, data.colours, QUIET);
const symbolOf = row => lookOf(row, SYMBOLS, 'circle');
const glyphOf = row => lookOf(row, GLYPHS, '\u2013');

const shorter = (text, longest) => text.length <= longest ? text : text.slice(0, longest - 1) + '\u2026';
const percent = share => `${(100 * share).toFixed(1)} %`;
const scientific = rate => rate.toExponential(1).replace('+', '');
const duration = seconds => seconds < 60 ? `${seconds.toFixed(1)} s`
  : `${Math.floor(Math.round(seconds) / 60)} min ${String(Math.round(seconds) % 60).padStart(2, '0')} s`;

function successOf(row) {
  const found = row.load_success;
  return found ? `${percent(found.rate)} (${(100 * found.low).toFixed(1)} to ${(100 * found.high).toFixed(1)})` : '-';
}

function errorOf(row) {
  const found = row.residual_byte_error_rate;
  if (!found) return '-';
  if (found.rate === 0) return `at most ${scientific(found.high)}, none seen`;
  return `${scientific(found.rate)} (${scientific(found.low)} to ${scientific(found.high)})`;
}

function element(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith('on')) made.addEventListener(name.slice(2), value);
    else if (name === 'style') Object.assign(made.style, value);
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter(child => child !== null && child !== undefined));
  return made;
}

// The plotting library reads a little markup in its texts, so a name must not hold any.
const plain = text => String(text).replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;');

// A spec may break after its punctuation, not within a word.
function specOf(text, tag, attributes) {
  return element(tag, attributes, ...text.split(/(?<=[\/,])/).flatMap(piece => [piece, element('wbr')]));
}

function inLines(text, width) {
  const lines = [''];
  for (const piece of text.split(/(?<=[\/,])/)) {
    for (let rest = piece; rest; rest = rest.slice(width)) {
      if (lines[lines.length - 1].length + Math.min(rest.length, width) > width) lines.push('');
      lines[lines.length - 1] += rest.slice(0, width);
    }
  }
  return lines.filter(line => line);
}

const narrow = () => window.innerWidth < 640;
const CONFIG = {displayModeBar: false, displaylogo: false, responsive: true, showTips: false, doubleClick: 'reset'};
const canPoint = window.matchMedia('(pointer: fine)').matches;

function baseLayout(more) {
  return Object.assign({
    font: {family: FONT, size: narrow() ? 11 : 13, color: INK},
    paper_bgcolor: '#fff', plot_bgcolor: '#fff', showlegend: false, dragmode: false, hovermode: 'closest',
    hoverlabel: {bgcolor: '#fff', bordercolor: INK, align: 'left',
      font: {family: '"DejaVu Sans Mono", monospace', size: narrow() ? 10 : 12, color: INK}, namelength: 0},
  }, more);
}

function radios(holder, group, choices, chosen, onChosen) {
  choices.forEach((choice, place) => {
    const input = element('input', {type: 'radio', name: group, value: String(place),
      onchange: () => onChosen(choice)});
    input.checked = choice === chosen;
    holder.append(element('label', {}, input, ' ', shorter(choice, 60)));
  });
}

const say = text => { document.getElementById('pointed').textContent = text; };
