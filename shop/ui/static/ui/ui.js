/* What a bench needs beyond HTML: scanner, clock, one press = one effect, nothing typed is lost.
   Every page works without this file. No eval, no inline handlers, no style attributes. */
(() => {
  "use strict";
  const d = document, body = d.body;
  const all = (sel, root = d) => [...root.querySelectorAll(sel)];
  const store = (() => { try { sessionStorage.setItem("?", ""); sessionStorage.removeItem("?"); return sessionStorage; } catch { return null; } })();

  /* --- saying things: the live region is the only toast there is --- */
  let silence;
  const say = (text, keep = 8000) => {
    const box = d.getElementById("status");
    if (!box) return;
    box.textContent = "";
    clearTimeout(silence);
    requestAnimationFrame(() => { box.textContent = text; });
    silence = setTimeout(() => { box.textContent = ""; }, keep);
  };
  d.addEventListener("say", (e) => say(e.detail?.value ?? e.detail));

  /* --- sounds: one low double tone for a code nobody knows, one short tick for a good one --- */
  let audio;
  const tone = (list) => {
    try {
      audio ??= new AudioContext();
      let t = audio.currentTime;
      for (const [hertz, length] of list) {
        const o = audio.createOscillator(), g = audio.createGain();
        o.type = "square"; o.frequency.value = hertz; g.gain.value = 0.12;
        o.connect(g).connect(audio.destination); o.start(t); o.stop(t + length);
        t += length + 0.05;
      }
    } catch { /* no sound on this device: the text says it */ }
  };
  const unknown = (code, message) => {
    tone([[220, 0.18], [160, 0.28]]);
    body.dataset.lastSound = "unknown";
    say(message || `The code ${code} is not known here. Scan again, or type it in.`, 15000);
  };
  d.addEventListener("scan:unknown", (e) => unknown(e.detail.code, e.detail.message));

  /* --- keyboard-wedge scanner: keys 5-20 ms apart, then Enter, wherever the focus is --- */
  const GAP = 35, LEAST = 4, REPEAT = 500;
  let burst = "", lastKey = 0, held = null, lastCode = "", lastAt = 0, ended = 0;
  const writable = (el) => el && (el.tagName === "TEXTAREA" || (el.tagName === "INPUT" && !/^(checkbox|radio|file|submit|button|range|color)$/.test(el.type)));
  const seen = (el) => !el.disabled && !el.readOnly && el.getClientRects().length > 0;
  const takes = (el, code) => { try { return new RegExp(el.dataset.scanInto || "").test(code); } catch { return true; } };
  const put = (el, value) => {
    el.value = value;
    for (const type of ["input", "change"]) el.dispatchEvent(new Event(type, { bubbles: true }));
  };
  const gap = (form, after) => {
    const boxes = all("input, select, textarea", form).filter((el) => el.type !== "hidden" && seen(el));
    const open = boxes.filter((el) => !el.value && (el.required || el.dataset.scanInto !== undefined));
    return open.find((el) => boxes.indexOf(el) > boxes.indexOf(after)) || open[0];
  };

  function scanned(code) {
    if (!code) return;
    const now = performance.now();
    if (code === lastCode && now - lastAt < REPEAT) { lastAt = now; return; }
    lastCode = code; lastAt = now;
    const ev = new CustomEvent("scan", { bubbles: true, cancelable: true, detail: { code } });
    if (!(d.activeElement || body).dispatchEvent(ev)) return;
    const boxes = all("[data-scan-into]").filter(seen), focused = d.activeElement;
    const fit = boxes.filter((el) => takes(el, code));
    const into = fit.includes(focused) ? focused : fit.find((el) => !el.value) || fit[0];
    if (into) {
      put(into, code);
      tone([[880, 0.06]]);
      say(`Scanned ${code}`);
      const next = into.form && gap(into.form, into);
      if (next) next.focus();
      else (into.form?.querySelector("[type=submit], button:not([type])") || into).focus();
      return;
    }
    const go = d.querySelector("[data-scan-go]");
    if (boxes.length || !go) return unknown(code, boxes.length ? `The code ${code} does not belong here. Scan what the box asks for.` : "");
    if (all("form").some((f) => f.dataset.dirty)) return unknown(code, `Code ${code}: save or leave the form first, then scan again.`);
    location.assign(go.dataset.scanGo + encodeURIComponent(code));
  }

  d.addEventListener("keydown", (e) => {
    const now = e.timeStamp, quick = now - lastKey < GAP;
    if (e.ctrlKey && e.key === "]" && quick && burst) { // the separator of a GS1 code (FNC1)
      e.preventDefault(); burst += "\u001d"; lastKey = now;
      return;
    }
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    const field = writable(e.target) ? e.target : null;
    if (e.key === "Enter") {
      if (quick && burst.length >= LEAST) {
        e.preventDefault(); e.stopPropagation();
        const code = burst;
        if (held && held.el === e.target) { // the keys landed in a box: take them out again
          held.el.value = held.value;
          held.el.dispatchEvent(new Event("input", { bubbles: true }));
        }
        burst = ""; held = null; ended = now;
        scanned(code);
        return;
      }
      burst = ""; held = null;
      if (now - ended < 80) { e.preventDefault(); return; } // CR LF suffix
      const form = field && field.tagName !== "TEXTAREA" && field.form;
      if (form && form.method === "post") { // Enter never sends a half-filled form
        const open = gap(form, field);
        if (open && open !== field) { e.preventDefault(); open.focus(); }
        else if (open) e.preventDefault();
      }
      return;
    }
    if (e.key === "Tab" && quick && burst.length >= LEAST) { burst = ""; return; }
    if (e.key.length !== 1) return;
    if (quick && burst) {
      burst += e.key;
      if (e.key === " " && !field) e.preventDefault(); // a space in a code is no press of the focused button
    } else {
      burst = e.key;
      const el = field || (e.target.tagName === "SELECT" ? e.target : null); // letters choose in a list, too
      held = el ? { el, value: el.value } : null;
    }
    lastKey = now;
    if (e.key === "/" && !field && !(quick && burst.length > 1) && !e.target.isContentEditable && localStorage.getItem("keys") !== "off") {
      const find = d.getElementById("find");
      if (find) { e.preventDefault(); find.focus(); find.select(); held = { el: find, value: find.value }; }
    }
  }, true);

  /* --- the camera scans, too --- */
  d.addEventListener("click", async (e) => {
    const b = e.target.closest?.("[data-camera]"), box = d.getElementById("camera");
    if (!b) return;
    try { scanned(await (await import(box.dataset.code)).readCode(box, b)); }
    catch { say("The camera can't be used here. Type the code.", 15000); }
  });

  /* --- one press, one effect --- */
  const free = (form) => {
    delete form.dataset.sent;
    for (const b of all("[data-was]", form)) { b.disabled = false; delete b.dataset.was; }
  };
  d.addEventListener("submit", (e) => {
    const form = e.target;
    if (form.method !== "post") return;
    if (form.dataset.sent) { e.preventDefault(); e.stopImmediatePropagation(); return; }
    form.dataset.sent = "1";
    delete form.dataset.dirty;
    mark(form, "sent");
    setTimeout(() => { // after the browser has taken the pressed button's name and value
      for (const b of all("button, input[type=submit]", form)) if (!b.disabled && b.type === "submit") { b.dataset.was = "1"; b.disabled = true; }
    });
    setTimeout(() => { if (form.dataset.sent) { free(form); say("No answer yet. Press again if nothing happens: it is entered only once."); } }, 12000);
  }, true);
  addEventListener("pageshow", (e) => { if (e.persisted) all("form[data-sent]").forEach(free); });

  /* --- drafts: what is typed survives an expired session, a crash of the tab's page, a wrong link --- */
  const person = body.dataset.person || "";
  const key = (form) => `draft|${person}|${location.pathname}|${form.id || form.getAttribute("action") || ""}|${all("form").filter((f) => f.method === "post").indexOf(form)}`;
  const kept = (form) => form.method === "post" && form.dataset.noDraft === undefined && form.dataset.signOut === undefined;
  const worth = (el) => el.name && !/^(hidden|password|file|submit|button)$/.test(el.type) && el.autocomplete !== "one-time-code";
  const read = (form) => [...form.elements].filter(worth).map((el) => [el.name, /^(checkbox|radio)$/.test(el.type) ? [el.value, el.checked] : el.value]);
  const mark = (form, how) => {
    if (!store || !kept(form)) return;
    const k = key(form), was = store.getItem(k);
    if (was) store.setItem(k, JSON.stringify({ ...JSON.parse(was), how }));
  };
  d.addEventListener("input", (e) => {
    const form = e.target.form;
    if (!form || !kept(form) || !worth(e.target) || body.dataset.keepDrafts !== undefined) return;
    form.dataset.dirty = "1";
    try { store?.setItem(key(form), JSON.stringify({ at: Date.now(), how: "typed", data: read(form) })); } catch { /* store full */ }
  });
  const restore = (form, data) => {
    const els = [...form.elements].filter(worth);
    data.forEach(([name, value], i) => {
      const el = els[i]?.name === name ? els[i] : els.find((x) => x.name === name);
      if (!el) return;
      if (Array.isArray(value)) el.checked = value[1]; else el.value = value;
    });
    form.dataset.dirty = "1";
    form.dispatchEvent(new Event("restored", { bubbles: true }));
  };
  function drafts() {
    if (!store) return;
    const keys = Object.keys(store).filter((k) => k.startsWith("draft|"));
    if (body.dataset.keepDrafts !== undefined) { // sign-in or error page: what was sent did not arrive
      for (const k of keys) store.setItem(k, JSON.stringify({ ...JSON.parse(store.getItem(k)), how: "typed" }));
      return;
    }
    for (const k of keys) if (k.startsWith(`draft|${person}|`) && JSON.parse(store.getItem(k)).how === "sent") store.removeItem(k); // it arrived
    for (const form of all("form").filter(kept)) {
      const k = key(form), text = store.getItem(k);
      if (!text) continue;
      const { at, data } = JSON.parse(text);
      if (JSON.stringify(data) === JSON.stringify(read(form))) continue;
      const box = d.createElement("div");
      box.className = "notice note draft";
      const p = d.createElement("p");
      p.textContent = `What you typed here at ${new Date(at).toLocaleTimeString(d.documentElement.lang, { hour: "2-digit", minute: "2-digit" })} was not saved.`;
      const say2 = (label, act) => {
        const b = d.createElement("button");
        b.type = "button"; b.className = "button plain"; b.textContent = label;
        b.addEventListener("click", () => { act(); box.remove(); });
        return b;
      };
      box.append(p,
        say2("Bring it back", () => { restore(form, data); say("Your text is back. It is not saved yet."); [...form.elements].find((el) => worth(el) && seen(el))?.focus(); }),
        say2("Throw it away", () => { store.removeItem(k); say("Thrown away."); d.getElementById("main")?.focus(); }));
      form.before(box);
    }
  }
  d.addEventListener("submit", (e) => {
    if (e.target.dataset.signOut !== undefined && store) Object.keys(store).filter((k) => k.startsWith("draft|")).forEach((k) => store.removeItem(k));
  });

  /* --- running clocks --- */
  const tick = () => {
    for (const el of all("[data-clock]")) {
      const s = Math.max(0, Math.floor((Date.now() - Date.parse(el.dataset.clock)) / 1000));
      const text = `${Math.floor(s / 3600)}:${String(Math.floor(s / 60) % 60).padStart(2, "0")}`;
      if (el.textContent !== text) el.textContent = text;
    }
  };
  setInterval(tick, 1000);

  /* --- focus: error summary first; after a swap back to where the person was --- */
  function settle(root) {
    const wrong = root.matches?.(".error-summary") ? root : root.querySelector(".error-summary");
    if (wrong) wrong.focus();
    for (const el of all("[data-scan-unknown]", root)) { unknown(el.dataset.scanUnknown, el.textContent.trim()); }
    tick();
  }
  d.addEventListener("click", (e) => { // a link of the summary goes into the box, also for groups of choices
    const a = e.target.closest?.(".error-summary a");
    const el = a && d.getElementById(a.hash.slice(1));
    if (!el) return;
    const box = el.matches("input, select, textarea") ? el : el.querySelector("input, select, textarea");
    if (box) { e.preventDefault(); box.focus(); box.scrollIntoView({ block: "center" }); }
  });
  let where = null;
  d.addEventListener("htmx:beforeSwap", (e) => {
    const { xhr } = e.detail, signIn = body.dataset.signIn;
    if (signIn && (xhr.status === 401 || (xhr.responseURL && new URL(xhr.responseURL).pathname.startsWith(signIn)))) {
      e.detail.shouldSwap = false; // the session ran out: sign in as a whole page and come back
      location.assign(`${signIn}?next=${encodeURIComponent(location.pathname + location.search)}`);
      return;
    }
    const el = d.activeElement;
    where = el && el !== body ? { id: el.id, name: el.name, value: el.type === "submit" ? el.value : null, text: el.textContent.trim() } : null;
  });
  d.addEventListener("htmx:afterSettle", (e) => {
    const root = e.detail.elt;
    if (where && (!d.activeElement || d.activeElement === body)) {
      const same = (where.id && d.getElementById(where.id)) || all("a, button, input, select, textarea", root).find((el) => (where.name && el.name === where.name && (where.value === null || el.value === where.value)) || (!where.name && where.text && el.textContent.trim() === where.text));
      const to = root.querySelector("[data-focus]") || same || root;
      if (!to.matches("a[href], button, input, select, textarea, [tabindex]")) to.tabIndex = -1;
      to.focus({ preventScroll: true });
    }
    where = null;
    settle(root);
  });
  d.addEventListener("htmx:afterRequest", (e) => {
    const form = e.detail.elt.closest?.("form");
    if (!form) return;
    free(form);
    if (store && kept(form)) {
      if (e.detail.successful) { store.removeItem(key(form)); delete form.dataset.dirty; } else mark(form, "typed");
    }
  });
  d.addEventListener("htmx:responseError", (e) => {
    const { status } = e.detail.xhr;
    if (![400, 409, 412, 422].includes(status)) say(status === 403 ? "That is not yours to do. Nothing was changed." : status >= 500 ? "Something broke on our side. Look whether it is there; if not, press again." : `That did not work (${status}). Load the page again.`, 15000);
  });
  d.addEventListener("htmx:sendError", () => say("No connection. What you typed is kept; press again when the network is back.", 15000));

  /* --- the one single-key shortcut can be switched off (WCAG 2.1.4) --- */
  const keys = d.querySelector("[data-keys]");
  if (keys) {
    const show = () => { keys.textContent = keys.textContent.replace(/: .*$/, localStorage.getItem("keys") === "off" ? ": off" : ": on"); };
    keys.addEventListener("click", () => { localStorage.setItem("keys", localStorage.getItem("keys") === "off" ? "on" : "off"); show(); say(keys.textContent); });
    show();
  }

  drafts();
  settle(body);
})();
