// Puts the fields of the record into the choice above a column when a person comes to it: all of
// them above every column would be some hundred thousand entries.

function fill(event) {
  const select = event.target.closest?.('select[data-fields]');
  if (!select || select.dataset.filled) return;
  select.dataset.filled = 'yes';
  const chosen = select.value;
  const all = document.getElementById('fields').content.cloneNode(true);
  // what is chosen already stands on top, and once
  all.querySelector(`option[value="${CSS.escape(chosen)}"]`)?.remove();
  select.append(all);
}
document.addEventListener('pointerover', fill);
document.addEventListener('focusin', fill);
