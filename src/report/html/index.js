'use strict';
(function () {
  var table = document.getElementById('vans-table');
  var controls = document.getElementById('controls');
  if (!table || !controls) { return; }
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var pages = document.querySelectorAll('article.van');
  var shown = document.getElementById('shown');
  var fields = ['by-name', 'by-state', 'by-district', 'by-days'].map(function (id) {
    return document.getElementById(id);
  });

  function fits(row) {
    var name = fields[0].value.trim().toLowerCase();
    var days = fields[3].value;
    if (name && row.cells[0].textContent.toLowerCase().indexOf(name) < 0) { return false; }
    if (fields[1].value && row.dataset.state !== fields[1].value) { return false; }
    if (fields[2].value && row.dataset.district !== fields[2].value) { return false; }
    if (days && (row.dataset.days === '' || Number(row.dataset.days) > Number(days))) { return false; }
    return true;
  }

  function filter() {
    var count = 0;
    var kept = {};
    rows.forEach(function (row) {
      var fit = fits(row);
      row.hidden = !fit;
      kept[row.dataset.van] = fit;
      if (fit) { count += 1; }
    });
    pages.forEach(function (page) { page.hidden = !kept[page.dataset.van]; });
    shown.textContent = count + ' of ' + rows.length + (rows.length === 1 ? ' van' : ' vans') + ' shown';
  }

  function key(row, column) {
    var cell = row.cells[column];
    return cell.dataset.key === undefined ? cell.textContent.trim() : cell.dataset.key;
  }

  function sort(column, numeric, up) {
    rows.sort(function (a, b) {
      var x = key(a, column);
      var y = key(b, column);
      // what is not known stays last, whichever way the rest goes
      if (x === '' || y === '') { return (x === '' ? 1 : 0) - (y === '' ? 1 : 0); }
      var order = numeric ? Number(x) - Number(y) : x.localeCompare(y, 'en', { numeric: true });
      return up ? order : -order;
    });
    rows.forEach(function (row) { body.appendChild(row); });
  }

  var heads = Array.prototype.slice.call(table.tHead.rows[0].cells);
  heads.forEach(function (head, column) {
    var button = document.createElement('button');
    button.type = 'button';
    button.textContent = head.textContent;
    head.textContent = '';
    head.appendChild(button);
    button.addEventListener('click', function () {
      var up = head.getAttribute('aria-sort') !== 'ascending';
      heads.forEach(function (other) { other.removeAttribute('aria-sort'); });
      head.setAttribute('aria-sort', up ? 'ascending' : 'descending');
      sort(column, head.dataset.numeric === '1', up);
    });
  });
  fields.forEach(function (field) { field.addEventListener('input', filter); });
  document.getElementById('show-all').addEventListener('click', function () {
    fields.forEach(function (field) { field.value = ''; });
    filter();
  });
  document.getElementById('print-all').addEventListener('click', function () {
    var closed = Array.prototype.slice.call(document.querySelectorAll('details:not([open])'));
    document.body.classList.add('whole');
    closed.forEach(function (one) { one.open = true; });
    window.addEventListener('afterprint', function () {
      document.body.classList.remove('whole');
      closed.forEach(function (one) { one.open = false; });
    }, { once: true });
    window.print();
  });
  controls.hidden = false;
  filter();
}());
