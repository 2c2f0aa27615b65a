// A button that is pressed before htmx is there would send its form as a plain one, away from what
// was typed. It is pressed again once htmx is there.
addEventListener('submit', (event) => {
  if (event.defaultPrevented || !event.target.matches('[hx-post], [hx-get]')) return;
  event.preventDefault();
  document.addEventListener('htmx:load', () => {
    event.submitter ? event.submitter.click() : event.target.requestSubmit();
  }, {once: true});
});
