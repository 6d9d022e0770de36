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


  // What is typed is never lost: a form keeps its fields in this browser until they are saved; where no answer comes it
  // keeps what was to be saved, and sends it later. Each is its person's own. The same sent twice is there once.
  const STORE = 'kept-here', DRAFT = 'begun-here', OLD = 12 * 3600e3, who = document.body.dataset.who || '', loaded = Date.now();
  const read = (name, none) => { try { return JSON.parse(localStorage.getItem(name)) || none; } catch (error) { return none; } };
  const write = (name, value) => { try { localStorage.setItem(name, JSON.stringify(value)); return true; } catch (error) { return false; } };
  const draft = (to, fields) => { const all = read(DRAFT, {}); if (fields) all[`${who} ${to}`] = {at: Date.now(), fields}; else delete all[`${who} ${to}`]; write(DRAFT, all); };
  const begunWith = (to) => { const one = read(DRAFT, {})[`${who} ${to}`]; return one && Date.now() - one.at < OLD ? one.fields : null; };
  const notice = (text, wrong) => {
    let box = document.getElementById('kept-here');
    if (!text) { if (box) box.remove(); return null; }
    if (!box) { box = document.createElement('div'); box.id = 'kept-here'; box.setAttribute('role', 'status'); main().before(box); }
    box.className = wrong ? 'kept-here wrong' : 'kept-here';
    box.textContent = text;
    return box;
  };
  const mine = () => read(STORE, []).filter((each) => each.who === who);
  const without = (id) => write(STORE, read(STORE, []).filter((each) => each.id !== id));
  const waiting = () => {
    const others = read(STORE, []).find((each) => each.who !== who), wrong = mine().find((each) => each.wrong), n = mine().length;
    if (wrong) {
      const button = document.createElement('button');
      button.type = 'button'; button.textContent = words[8];
      button.addEventListener('click', () => { draft(wrong.to, Object.fromEntries(new URLSearchParams(wrong.body))); without(wrong.id); location.assign(wrong.to); });
      notice(`${wrong.wrong} `, true).append(button);
    } else if (n) notice(`${words[3]} ${n}`);
    else if (others) notice(`${words[4]} ${others.who}`);
    return n;
  };
  const post = async (to, body) => {
    const token = document.querySelector('input[name=form_token]'), fields = new URLSearchParams(body);
    if (token) fields.set('form_token', token.value);
    return fetch(to, {method: 'POST', body: fields, headers: {'X-Kept': '1'}, redirect: 'manual', cache: 'no-store', credentials: 'same-origin', signal: AbortSignal.timeout(60000)});
  };
  const saved = (answer) => answer.headers.get('X-Saved') === '1';
  const refused = (answer) => [400, 404, 409, 413, 422].includes(answer.status);
  const parsed = (text) => new DOMParser().parseFromString(text, 'text/html');
  const swap = (text) => {
    const fresh = parsed(text).getElementById('content');
    if (!fresh) return;
    main().replaceWith(document.adoptNode(fresh));
    const first = main().querySelector('[aria-invalid=true]') || main().querySelector('.mistakes a');
    if (first) first.focus();
    ready();
  };
  let sending = false;
  const send = async () => {
    if (sending || !waiting()) return;
    sending = true;
    let done = 0;
    try {
      for (const each of mine()) {
        if (each.wrong) continue;
        const answer = await post(each.to, each.body);
        if (saved(answer)) { without(each.id); done += 1; }
        else if (refused(answer)) {
          const why = parsed(await answer.text()).querySelector('.mistakes li, main p');
          write(STORE, read(STORE, []).map((other) => other.id === each.id ? {...other, wrong: why ? why.textContent : words[8]} : other));
        } else break;
      }
    } catch (error) { /* no answer: it stays kept */ } finally { sending = false; }
    if (!waiting() && done) notice(words[5]);
  };
  // A form that was kept is empty again, and its time goes on by the clock.
  const cleared = (form) => {
    form.reset();
    for (const input of form.querySelectorAll('[name^="w:"]')) input.value = '';
    for (const input of form.querySelectorAll('input[type=datetime-local]')) {
      const at = Date.parse(`${input.defaultValue}Z`);
      if (at) input.value = new Date(at + Date.now() - loaded).toISOString().slice(0, 16);
    }
  };
  document.addEventListener('submit', async (event) => {
    const form = event.target;
    if (!form.matches('form.kept') || !window.fetch) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = '1';
    const to = new URL(form.action).pathname, body = new URLSearchParams(new FormData(form, event.submitter)).toString();
    try {
      const answer = await post(to, body);
      if (saved(answer)) { draft(to); location.assign(to); return; }
      if (!refused(answer)) throw new Error(String(answer.status));
      swap(await answer.text());
    } catch (error) {
      const left = new URLSearchParams(body);
      left.delete('form_token');
      const all = read(STORE, []);
      all.push({id: `${Date.now()}-${Math.random()}`, who, to, body: left.toString()});
      if (write(STORE, all)) { draft(to); cleared(form); waiting(); } else notice(words[6], true);
    } finally { delete form.dataset.busy; }
  });
  document.addEventListener('input', (event) => {
    const form = event.target.closest && event.target.closest('form.kept');
    if (!form || event.target.type === 'checkbox') return;
    const to = new URL(form.action).pathname;
    draft(to, {...begunWith(to), [event.target.name]: event.target.value});
  });
  // Enter leads to the next field, as the key of a scale that types does; on the last field it saves.
  document.addEventListener('keydown', (event) => {
    const cells = event.key === 'Enter' && event.target.matches && event.target.matches('form.kept .cells input') ? event.target.form : null;
    if (!cells) return;
    const all = [...cells.querySelectorAll('.cells input')], next = all[all.indexOf(event.target) + 1];
    if (next) { event.preventDefault(); next.focus(); next.select(); } else { event.preventDefault(); cells.querySelector('.buttons button').focus(); }
  });
  const begun = () => {
    for (const form of location.search ? [] : document.querySelectorAll('form.kept')) {
      const fields = begunWith(new URL(form.action).pathname);
      if (!fields || form.querySelector('[aria-invalid=true]')) continue;
      for (const [name, value] of Object.entries(fields)) {
        const input = form.elements.namedItem(name);
        if (input && 'value' in input && input.type !== 'hidden' && input.type !== 'checkbox') input.value = value;
      }
      notice(words[7]);
    }
  };
  addEventListener('online', send);
  setInterval(send, 15000);

  const ready = () => document.querySelectorAll('[data-copy],[data-print],[data-write]').forEach((b) => { b.hidden = false; }) || turn();
  ready();
  begun();
  if (read(STORE, []).length) send();
})();
