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
