// A stocktake: lines of a scanner or codes seen by a camera, sent one after the other. A line that
// was not answered yet is kept by the browser and sent again when the page is opened again.

const form = document.getElementById('scan');
if (form) {
  const field = document.getElementById('text');
  const list = document.getElementById('scans');
  const place = document.getElementById('open-place');
  const said = document.getElementById('camera-said');
  const waiting = document.getElementById('waiting');
  const address = form.getAttribute('hx-post');
  const act = document.querySelector('meta[name=act]').content;
  const queue = JSON.parse(localStorage.getItem(address) || '[]');
  let sending = false;

  const keep = () => {
    localStorage.setItem(address, JSON.stringify(queue));
    waiting.textContent = queue.length ? `${queue.length} ${form.dataset.no}` : '';
  };

  const show = (one) => {
    const item = document.createElement('li');
    item.className = `scan-${one.kind}`;
    item.textContent = one.said;
    list.prepend(item);
    while (list.children.length > 12) list.lastChild.remove();
    const count = document.getElementById('count');
    count.textContent = Number(count.textContent) + 1;
    if (one.kind === 'place') place.textContent = `${place.dataset.open} ${one.place}`;
    if (one.kind === 'closed') place.textContent = place.dataset.none;
  };

  const problem = (text) => {
    const shown = document.getElementById('problem');
    shown.className = 'warning';
    shown.setAttribute('role', 'alert');
    shown.textContent = text;
  };

  async function send() {
    if (sending) return;
    sending = true;
    while (queue.length) {
      let answer;
      try {
        answer = await fetch(address, {
          method: 'POST',
          headers: {'Content-Type': 'application/json', 'Accept': 'application/json', 'X-Desk-Act': act},
          body: JSON.stringify(queue[0]),
        });
      } catch {
        problem(document.body.dataset.silent);
        break;
      }
      if (answer.status === 200) {
        queue.shift();
        (await answer.json()).forEach(show);
      } else {
        const text = await answer.text();
        try { problem(JSON.parse(text).problem); } catch { problem(text); }
        // what can never be kept must not stop what comes behind it
        if (answer.status === 422) queue.shift(); else break;
      }
      keep();
    }
    sending = false;
  }

  const scanned = (text) => {
    if (!text.trim()) return;
    add({text});
  };

  const add = (one) => {
    queue.push(one);
    keep();
    send();
  };

  // before the other script sees it, which would send the form itself
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
    scanned(field.value);
    field.value = '';
    field.focus();
  }, true);
  document.getElementById('open')?.addEventListener('click', () => {
    const wanted = document.getElementById('place');
    if (wanted.value.trim()) add({place: wanted.value});
    wanted.value = '';
    field.focus();
  });
  document.getElementById('end').addEventListener('click', () => { scanned('END'); field.focus(); });
  // before this the browser would send the form by itself, and a line would be lost
  field.disabled = false;
  field.focus();
  keep();
  send();

  const button = document.getElementById('camera');
  const video = document.getElementById('seen');
  let stream = null;
  const stop = () => {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    video.hidden = true;
    button.setAttribute('aria-pressed', 'false');
  };
  button.addEventListener('click', async () => {
    said.textContent = '';
    if (stream) { stop(); return; }
    if (!navigator.mediaDevices?.getUserMedia) { said.textContent = form.dataset.cameraAbsent; return; }
    try {
      stream = await navigator.mediaDevices.getUserMedia({video: {facingMode: 'environment'}});
    } catch {
      said.textContent = form.dataset.cameraRefused;
      return;
    }
    button.setAttribute('aria-pressed', 'true');
    video.srcObject = stream;
    video.hidden = false;
    await video.play();
    const {prepareZXingModule, readBarcodes} = await import('/look/vendor/zxing-wasm/es/reader/index.js');
    prepareZXingModule({overrides: {locateFile: () => '/look/vendor/zxing-wasm/reader/zxing_reader.wasm'}});
    const canvas = document.createElement('canvas');
    let last = '';
    while (stream) {
      if (video.videoWidth) {
        canvas.width = video.videoWidth;
        canvas.height = video.videoHeight;
        const drawing = canvas.getContext('2d', {willReadFrequently: true});
        drawing.drawImage(video, 0, 0);
        const picture = drawing.getImageData(0, 0, canvas.width, canvas.height);
        const codes = await readBarcodes(picture, {formats: ['QRCode'], maxNumberOfSymbols: 1});
        const text = codes[0]?.text ?? '';
        // a label that stays in view is one scan
        if (text && text !== last) scanned(text);
        if (text) last = text;
      }
      await new Promise((done) => setTimeout(done, 200));
    }
  });
  addEventListener('pagehide', stop);
}
