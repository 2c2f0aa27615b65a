// Keeps the field of samples and the table that is clicked in step.
const quoted = (number) => number.includes(',') ? `"${number}"` : number;

document.addEventListener('change', (event) => {
  const number = event.target.dataset?.sample;
  if (number === undefined) return;
  const table = event.target.closest('#chosen-table');
  const chosen = new Set(JSON.parse(table.dataset.chosen));
  if (event.target.checked) chosen.add(number); else chosen.delete(number);
  table.dataset.chosen = JSON.stringify([...chosen]);
  document.getElementById('samples').value = [...chosen].map(quoted).join(', ');
});

// a scanner ends every code with Enter, which must not send the form off
document.addEventListener('keydown', (event) => {
  if (event.target.matches?.('input[data-scan]') && event.key === 'Enter') event.preventDefault();
});
