// Small things that every page of the desk needs; the work is done by the server.

// work that has ended goes on by itself, also where it was done before its page was there
const goOn = () => document.querySelector('#work [data-go]')?.click();
document.addEventListener('htmx:afterSwap', goOn);
goOn();

// an act is sent once, however often its button is pressed
for (const [name, waits] of [['htmx:beforeRequest', true], ['htmx:afterRequest', false]])
  document.addEventListener(name, (event) => {
    if (event.target.matches('form')) for (const button of event.target.querySelectorAll('button')) button.disabled = waits;
  });

// a problem is read at once, wherever on the page the act was
document.addEventListener('htmx:afterSettle', () => {
  const problem = document.querySelector('#problem[role=alert]');
  if (problem) { problem.focus(); problem.scrollIntoView({block: 'center'}); }
});

// an answer that never came: the program was closed, or the machine is asleep
document.addEventListener('htmx:sendError', () => {
  const problem = document.getElementById('problem');
  problem.className = 'warning';
  problem.setAttribute('role', 'alert');
  problem.textContent = document.body.dataset.silent;
});

// what was changed elsewhere: a sheet takes it in by itself, any other page says so
const elsewhere = document.getElementById('elsewhere');
const listen = () => {
  const events = new EventSource(elsewhere.dataset.events);
  events.addEventListener('changed', () => { elsewhere.hidden = false; });
  // a browser holds six connections to one server: a tab that nobody sees lets go of its own
  document.addEventListener('visibilitychange', () => {
    events.close();
    document.addEventListener('visibilitychange', listen, {once: true});
  }, {once: true});
};
if (elsewhere && !document.getElementById('grid')) listen();
