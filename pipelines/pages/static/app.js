// Everything here can be done without: a page renews itself by its address, tables sort by links, forms are plain forms.
(() => {
  'use strict';
  const words = (document.body.dataset.words || '||').split('|');
  const main = () => document.getElementById('content');

  const dirty = (part) => part.contains(document.activeElement) && document.activeElement.matches('input,select,textarea')
    || [...part.querySelectorAll('input:not([type=hidden]),textarea')].some((i) => i.type === 'checkbox' ? i.checked !== i.defaultChecked : i.value !== i.defaultValue);

  // Put the parts that changed in place of the old ones; what somebody has opened, or is writing in, stays.
  const put = (text) => {
    const fresh = new DOMParser().parseFromString(text, 'text/html');
    const from = fresh.getElementById('content'), to = main();
    const age = fresh.getElementById('age'), older = document.getElementById('age');
    if (age && older) { if (older.outerHTML !== age.outerHTML) older.replaceWith(document.adoptNode(age)); }
    else if (age && to) to.before(document.adoptNode(age));
    if (!from || !to) return;
    const names = (root) => [...root.querySelectorAll(':scope > [data-part]')].map((p) => p.id).join(' ');
    if (names(from) !== names(to)) { if (!dirty(to)) to.innerHTML = from.innerHTML; ready(); return; }
    for (const part of from.querySelectorAll(':scope > [data-part]')) {
      const old = document.getElementById(part.id);
      const plain = (p) => p.innerHTML.replace(/name="form_token" value="[^"]*"/g, '');
      if (dirty(old) || plain(old) === plain(part) || plain(old).replace(/ hidden=""/g, '') === plain(part).replace(/ hidden=""/g, '')) continue;
      const open = [...old.querySelectorAll('details')].map((d) => d.open);
      const at = [...old.querySelectorAll('.scroll,.broad')].map((s) => s.scrollLeft);
      const where = document.activeElement && old.contains(document.activeElement) ? document.activeElement.getAttribute('href') || '' : null;
      old.replaceWith(document.adoptNode(part));
      part.querySelectorAll('details').forEach((d, n) => { d.open = !!open[n]; });
      part.querySelectorAll('.scroll,.broad').forEach((s, n) => { s.scrollLeft = at[n] || 0; });
      if (where !== null) {
        const again = [...part.querySelectorAll('a[href]')].find((a) => a.getAttribute('href') === where) || part.querySelector('th[aria-sort] a');
        if (again) again.focus({preventScroll: true});
      }
    }
    ready();
  };

  let tag = '', heard = Date.now();
  const renew = async (address, quiet) => {
    const mark = document.querySelector('.renewed');
    try {
      const answer = await fetch(address, {headers: tag && quiet ? {'If-None-Match': tag} : {}, cache: 'no-store', credentials: 'same-origin', signal: AbortSignal.timeout(20000)});
      if (answer.status === 200) { tag = answer.headers.get('ETag') || ''; put(await answer.text()); }
      else if (answer.status !== 304) throw new Error(String(answer.status));
      heard = Date.now();
      const now = document.querySelector('.renewed');
      if (now && now.dataset.said) now.textContent = now.dataset.said;
    } catch (error) {
      if (!mark) return;
      const minutes = Math.floor((Date.now() - heard) / 60000);
      mark.dataset.said = mark.dataset.said || mark.textContent;
      mark.textContent = `${mark.dataset.said} · ${words[1]}` + (minutes ? ` (${minutes} min)` : '');
    }
    document.documentElement.classList.toggle('unanswered', Date.now() - heard > 100000);
  };

  const every = main() && Number(main().dataset.refresh);
  if (every) {
    setInterval(() => { if (!document.hidden) renew(location.href.split('#')[0], true); }, every * 1000);
    document.addEventListener('visibilitychange', () => { if (!document.hidden) renew(location.href.split('#')[0], true); });
  }

  // What does not fit on a big screen takes turns, by the clock; it stays while somebody points at it.
  const turn = () => {
    for (const box of document.querySelectorAll('.wall [data-turns]')) {
      if (box.matches(':hover')) continue;
      const all = [...box.children], now = Math.floor(Date.now() / 1000 / Number(box.dataset.turns)) % all.length;
      all.forEach((one, n) => { if (one.hidden !== (n !== now)) one.hidden = n !== now; });
      box.parentElement.querySelectorAll('.which span').forEach((dot, n) => dot.classList.toggle('on', n === now));
    }
  };
  setInterval(turn, 500);

  document.addEventListener('click', async (event) => {
    const link = event.target.closest('a[data-sort]');
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
      event.preventDefault();
      history.replaceState(null, '', link.href);
      link.focus();
      await renew(link.href.split('#')[0], false);
      return;
    }
    const copy = event.target.closest('[data-copy]');
    if (copy) { await copyTable(copy); return; }
    if (event.target.closest('[data-print]')) window.print();
    const write = event.target.closest('[data-write]');
    if (write) { const into = document.getElementById(write.dataset.write); into.type = into.type === 'text' ? 'datetime-local' : 'text'; into.focus(); }
  });

  // No copied text may become a formula where it is pasted.
  const safe = (text, number) => (!number && /^[=+\-@\t\r]/.test(text) ? "'" + text : text).replace(/[\t\n]+/g, ' ');
  const copyTable = async (button) => {
    const rows = [...button.closest('.table').querySelectorAll('tr')].map((row) =>
      [...row.cells].map((cell) => safe(cell.textContent.trim(), cell.classList.contains('n'))).join('\t'));
    const text = rows.join('\n');
    try { await navigator.clipboard.writeText(text); } catch (error) {
      const area = document.createElement('textarea');
      area.value = text; document.body.append(area); area.select(); document.execCommand('copy'); area.remove(); button.focus();
    }
    const said = button.textContent;
    button.textContent = words[2];
    setTimeout(() => { button.textContent = said; }, 1500);
  };

  // A window is drawn on a time picture by dragging along it; the two fields of its form take it and ask for it.
  let drag = null;
  const place = (svg, event) => {
    const box = svg.getBoundingClientRect(), d = svg.dataset, wide = svg.viewBox.baseVal.width;
    return Math.min(Number(d.right), Math.max(Number(d.left), (event.clientX - box.left) / box.width * wide));
  };
  const shown = () => {
    const [low, high] = [drag.from, drag.to].sort((a, b) => a - b);
    for (const rect of drag.svg.querySelectorAll('.chosen')) {
      rect.classList.remove('off'); rect.setAttribute('x', low); rect.setAttribute('width', high - low);
    }
    return [low, high];
  };
  document.addEventListener('pointerdown', (event) => {
    const svg = event.target.closest && event.target.closest('svg.times[data-from]');
    if (!svg || event.button !== 0) return;
    drag = {svg, from: place(svg, event), to: place(svg, event)};
    if (event.pointerType === 'mouse') event.preventDefault();
  });
  document.addEventListener('pointermove', (event) => { if (drag) { drag.to = place(drag.svg, event); shown(); } });
  document.addEventListener('pointercancel', () => { drag = null; });
  document.addEventListener('pointerup', () => {
    if (!drag) return;
    const [low, high] = shown(), d = drag.svg.dataset, form = document.querySelector('form input[name=from]')?.form;
    drag = null;
    if (!form || high - low < 6) return;
    const at = (x) => {
      const s = Number(d.from) + (x - d.left) / (d.right - d.left) * (d.to - d.from);
      return new Date((Math.round(s / 60) * 60 + Number(d.offset)) * 1000).toISOString().slice(0, 16);
    };
    const last = new Date((Number(d.last) + Number(d.offset)) * 1000).toISOString().slice(0, 16);
    form.elements.from.value = at(low);
    form.elements.to.value = at(high) < last ? at(high) : last;
    if (form.elements.from.value < form.elements.to.value) form.requestSubmit();
  });

  const ready = () => document.querySelectorAll('[data-copy],[data-print],[data-write]').forEach((b) => { b.hidden = false; }) || turn();
  ready();
})();
