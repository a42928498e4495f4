const table = document.getElementById('table');
const bodyRows = [...table.tBodies[0].rows];

function startTable() {
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = element('button', {type: 'button', onclick: () => sortBy(column)}, ...head.childNodes);
    head.replaceChildren(button);
  });
  for (const line of bodyRows) {
    const place = Number(line.dataset.row), head = line.cells[0], row = rows[place];
    head.prepend(element('button', {type: 'button', class: 'pin screen', 'aria-pressed': 'false',
      'aria-label': `Pin ${shorter(nameOf(row), 60)} over ${shorter(row.channel, 60)}`, title: 'Pin',
      onclick: () => pin(place)}, element('span', {style: {color: colourOf(row)}, 'aria-hidden': 'true'}, glyphOf(row))));
  }
  document.getElementById('filters').hidden = false;
  for (const id of ['filter-text', 'filter-channel', 'filter-frontier']) {
    document.getElementById(id).addEventListener('input', filterRows);
  }
  filterRows();
  markPinnedRows();
}

function sortBy(column) {
  const heads = [...table.tHead.rows[0].cells], head = heads[column];
  const upwards = head.getAttribute('aria-sort') !== 'ascending';
  heads.forEach(other => other.removeAttribute('aria-sort'));
  head.setAttribute('aria-sort', upwards ? 'ascending' : 'descending');
  const number = head.classList.contains('n');
  const key = line => line.cells[column].dataset.sort;
  const order = (one, other) => number ? Number(key(one)) - Number(key(other)) : key(one).localeCompare(key(other));
  bodyRows.sort((one, other) => (upwards ? 1 : -1) * order(one, other));
  table.tBodies[0].append(...bodyRows);
}

function filterRows() {
  const words = document.getElementById('filter-text').value.toLowerCase().split(/\s+/).filter(Boolean);
  const channel = document.getElementById('filter-channel').value;
  const frontier = document.getElementById('filter-frontier').checked;
  let count = 0;
  for (const line of bodyRows) {
    const row = rows[Number(line.dataset.row)], text = `${line.textContent} ${row.codec_spec}`.toLowerCase();
    const keep = words.every(word => text.includes(word)) && (!channel || row.channel === channel) &&
      (!frontier || row.on_frontier);
    line.hidden = !keep;
    count += Number(keep);
  }
  document.getElementById('filter-count').textContent = `${count} of ${bodyRows.length} rows`;
}

function markPinnedRows() {
  for (const line of bodyRows) {
    const slot = pins.indexOf(Number(line.dataset.row));
    line.classList.toggle('pinned', slot >= 0);
    line.querySelector('.pin')?.setAttribute('aria-pressed', String(slot >= 0));
  }
}
