// The sheet of labels: click the first one that is free, or type its number.
const mark = () => {
  const field = document.getElementById('start_at');
  if (!field) return;
  const first = Number(field.value);
  for (const place of document.querySelectorAll('[data-place]')) {
    const number = Number(place.dataset.place);
    place.classList.toggle('is-used', number < first);
    place.classList.toggle('is-first', number === first);
  }
};

document.addEventListener('click', (event) => {
  const place = event.target.closest?.('[data-place]');
  if (!place) return;
  document.getElementById('start_at').value = place.dataset.place;
  mark();
});
document.addEventListener('input', mark);
document.addEventListener('htmx:afterSwap', mark);
mark();
