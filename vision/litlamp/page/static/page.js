// What the page can do besides: progress of an upload, drop, paste, record, zoom, lighting up, correcting at once.
// Without it every form still works.
"use strict";

const one = (what, within = document) => within.querySelector(what);
const all = (what, within = document) => [...within.querySelectorAll(what)];

// Said to those who do not see the page change.
const say = (words) => { one("#live").textContent = words.replace(/\s+/g, " ").trim(); };

for (const part of all(".byscript")) if (part.id !== "record") part.hidden = false;

// -- sending --------------------------------------------------------------------------------------------
const form = one("#send");
if (form) {
  const told = one("#told"), bar = one("#sent"), sending = one(".sending", form), file = one("#file");
  const buttons = all("button", form);
  const list = one("#batch");
  let busy = false;
  file.multiple = true;

  const tell = (words) => { told.textContent = words; };
  const rest = () => { busy = false; sending.hidden = true; buttons.forEach((b) => { b.disabled = false; }); };

  // Sends one; gives {at} or {fault}. Where it is told to come again, it does.
  const sendOne = (blob, name, tries = 0) => new Promise((done) => {
    bar.value = 0;
    tell("Sending " + name + " …");
    const data = new FormData();
    data.append("file", blob, name);
    data.append("mount", one("#mount").value);
    const request = new XMLHttpRequest();
    request.open("POST", "/read");
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) bar.value = event.loaded / event.total;
    };
    request.upload.onload = () => tell("Sent. Reading " + name + " …");
    request.onload = () => {
      const answer = request.response || {};
      if (request.status === 503 && answer.again && tries < 40) {
        tell("Others are before you. It is sent again in " + answer.again + " seconds.");
        setTimeout(() => sendOne(blob, name, tries + 1).then(done), 1000 * answer.again);
      } else {
        done(answer.at ? answer : { fault: answer.fault || "This could not be read." });
      }
    };
    request.onerror = () => done({ fault: "The page could not be reached. Is it still running?" });
    request.send(data);
  });

  const send = async (files) => {
    if (busy || !files.length) return;
    busy = true;
    buttons.forEach((b) => { b.disabled = true; });
    sending.hidden = false;
    if (files.length === 1) {
      const answer = await sendOne(files[0], files[0].name || "picture");
      rest();
      if (answer.at) location.assign(answer.at);
      else tell(answer.fault);
      return;
    }
    list.replaceChildren();
    list.hidden = false;
    for (const next of files) {
      const answer = await sendOne(next, next.name);
      const line = document.createElement("li");
      if (answer.at) {
        const link = document.createElement("a");
        Object.assign(link, { href: answer.at, textContent: next.name });
        line.append(link);
      } else {
        line.textContent = next.name + ": " + answer.fault;
      }
      list.append(line);
    }
    rest();
    tell(files.length + " files sent; choose one to see its reading.");
  };

  form.addEventListener("submit", (event) => {
    if (!file.files.length) return;
    event.preventDefault();
    send([...file.files]);
  });
  file.addEventListener("change", () => send([...file.files]));
  window.addEventListener("pageshow", rest);

  document.addEventListener("dragover", (event) => { event.preventDefault(); form.classList.add("over"); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) form.classList.remove("over"); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    form.classList.remove("over");
    const dropped = [...event.dataTransfer.files];
    if (dropped.length) send(dropped);
    else tell("That was no file.");
  });
  document.addEventListener("paste", (event) => {
    const pasted = [...event.clipboardData.files].slice(0, 1);
    if (pasted.length) { event.preventDefault(); send(pasted); }
  });

  // -- recording: only where the browser lets a page use the camera (this computer, or https) ------------
  const record = one("#record"), camera = one("#camera"), finder = one("#finder");
  if (navigator.mediaDevices && navigator.mediaDevices.getUserMedia && window.MediaRecorder) {
    let stream = null;
    const shut = () => {
      if (stream) stream.getTracks().forEach((track) => track.stop());
      stream = null;
      finder.srcObject = null;
      camera.hidden = true;
    };
    record.hidden = false;
    record.addEventListener("click", async () => {
      try {
        stream = await navigator.mediaDevices.getUserMedia({
          audio: false, video: { facingMode: "environment", width: { ideal: 1920 }, height: { ideal: 1080 }, frameRate: { ideal: 30 } },
        });
      } catch (error) {
        tell("The camera cannot be used here (" + error.name + "). Choose a clip instead.");
        return;
      }
      camera.hidden = false;
      finder.srcObject = stream;
      await finder.play();
      one("#shoot").focus();
    });
    one("#shut").addEventListener("click", shut);
    one("#shoot").addEventListener("click", () => {
      const kinds = ["video/mp4;codecs=avc1", "video/webm;codecs=vp9", "video/webm;codecs=vp8", "video/webm"];
      const kind = kinds.find((k) => MediaRecorder.isTypeSupported(k));
      const recorder = new MediaRecorder(stream, { mimeType: kind, videoBitsPerSecond: 8e6 });
      const pieces = [];
      recorder.ondataavailable = (event) => pieces.push(event.data);
      recorder.onstop = () => {
        shut();
        send([new File(pieces, "recording", { type: kind })]);
      };
      let left = 3;
      tell("Recording: 3 …");
      recorder.start();
      const clock = setInterval(() => {
        left -= 1;
        if (left > 0) { tell("Recording: " + left + " …"); return; }
        clearInterval(clock);
        recorder.stop();
      }, 1050);
    });
  }
}

// -- waiting --------------------------------------------------------------------------------------------
const wait = one("#wait");
if (wait) {
  const words = one("#waiting"), share = one("#share");
  const look = async () => {
    try {
      const state = await (await fetch(wait.dataset.state)).json();
      if (state.over) { location.reload(); return; }
      share.value = state.share;
      words.textContent = state.place ? state.place + " before it." : "Being read: " + Math.round(100 * state.share) + " %.";
    } catch (error) {
      words.textContent = "The page could not be reached. It is tried again.";
    }
    setTimeout(look, 300); // the server answers only once there is something to tell
  };
  look();
}

// -- lighting up and zooming -------------------------------------------------------------------------------
const prepare = (section) => {
  for (const link of all("[data-lights]", section)) {
    link.setAttribute("role", "button");
    link.setAttribute("aria-pressed", "false");
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const on = link.getAttribute("aria-pressed") !== "true";
      for (const other of all("[data-lights]", section)) {
        other.classList.remove("on");
        other.setAttribute("aria-pressed", "false");
      }
      all(".mark.on", section).forEach((mark) => mark.classList.remove("on"));
      if (!on) return;
      link.classList.add("on");
      link.setAttribute("aria-pressed", "true");
      for (const id of link.dataset.lights.split(" ")) {
        const mark = document.getElementById(id);
        if (mark) mark.classList.add("on");
      }
    });
    link.addEventListener("keydown", (event) => { if (event.key === " ") { event.preventDefault(); link.click(); } });
  }
  for (const figure of all(".zoom", section)) {
    const svg = one("svg", figure), near = svg.getAttribute("viewBox"), whole = svg.dataset.whole;
    const [, , wide, high] = whole.split(" ").map(Number);
    const set = (x, y, w, h) => {
      w = Math.min(Math.max(w, 8), wide); h = Math.min(Math.max(h, 8), high);
      x = Math.min(Math.max(x, 0), wide - w); y = Math.min(Math.max(y, 0), high - h);
      svg.setAttribute("viewBox", [x, y, w, h].join(" "));
    };
    const box = () => svg.getAttribute("viewBox").split(" ").map(Number);
    const zoom = (by, cx, cy) => {
      const [x, y, w, h] = box();
      cx = cx ?? x + w / 2; cy = cy ?? y + h / 2;
      set(cx - (cx - x) * by, cy - (cy - y) * by, w * by, h * by);
    };
    for (const button of all("[data-zoom]", figure)) {
      button.addEventListener("click", () => {
        const how = button.dataset.zoom;
        if (how === "in") zoom(0.6);
        else if (how === "out") zoom(1.6);
        else svg.setAttribute("viewBox", how === "whole" ? whole : near);
      });
    }
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      zoom(event.deltaY > 0 ? 1.15 : 0.87, at.x, at.y);
    }, { passive: false });
    let from = null;
    svg.addEventListener("pointerdown", (event) => { if (event.pointerType === "mouse") { from = [event.clientX, event.clientY, ...box()]; svg.setPointerCapture(event.pointerId); } });
    svg.addEventListener("pointermove", (event) => {
      if (!from) return;
      const scale = svg.getScreenCTM().a;
      set(from[2] - (event.clientX - from[0]) / scale, from[3] - (event.clientY - from[1]) / scale, from[4], from[5]);
    });
    svg.addEventListener("pointerup", () => { from = null; });
  }
};
all(".signal").forEach(prepare);

// -- asking again as a form is set -------------------------------------------------------------------------
const ANSWER_WITHIN = 8000; // ms; an answer to a form takes far less

// A question of which only the newest counts: an older one is given up, so its answer never comes in later.
// Gives the page that answers, null where a newer question took its place; one that stays out is asked once more.
const newestOnly = () => {
  let asked = 0, giveUp = () => {};
  return async (where) => {
    const mine = ++asked;
    giveUp();
    for (let tries = 2; mine === asked; tries -= 1) {
      const end = new AbortController();
      giveUp = () => end.abort();
      const clock = setTimeout(giveUp, ANSWER_WITHIN);
      try {
        const answer = await fetch(where, { signal: end.signal });
        if (!answer.ok) throw new Error("answer " + answer.status);
        const words = await answer.text();
        if (mine === asked) return new DOMParser().parseFromString(words, "text/html");
      } catch (error) {
        if (mine === asked && tries <= 1) { say("The page could not be reached; set it once more."); return null; }
      } finally {
        clearTimeout(clock);
      }
    }
    return null;
  };
};

// -- correcting at once ------------------------------------------------------------------------------------
for (const live of all("form[data-live]")) {
  const number = live.dataset.live;
  const ask = newestOnly();
  const again = async () => {
    const asked = new URLSearchParams(new FormData(live));
    for (const [name, value] of [...asked]) if (!value) asked.delete(name);
    const where = live.getAttribute("action").split("#")[0] + "?" + asked;
    const fresh = await ask(where);
    if (!fresh) return;
    for (const id of ["seen" + number, "told" + number]) {
      const old = document.getElementById(id), next = fresh.getElementById(id);
      if (old && next) old.replaceWith(next);
    }
    const section = document.getElementById("signal" + number);
    all(".byscript", section).forEach((part) => { part.hidden = false; });
    prepare(section);
    const now = one(".changed strong", section) || one(".reading", section);
    if (now) say(now.textContent);
    history.replaceState(null, "", where);
    // What is kept is what was corrected: the other form carries the same fields.
    const carried = one("form[data-keep='" + number + "'] .carried");
    if (carried) {
      carried.replaceChildren(...[...asked].filter(([name]) => name !== "s").map(([name, value]) => {
        const field = document.createElement("input");
        Object.assign(field, { type: "hidden", name, value });
        return field;
      }));
    }
  };
  live.addEventListener("change", again);
  live.addEventListener("submit", (event) => { event.preventDefault(); again(); });
}

// -- Learn: shown as soon as it is set ---------------------------------------------------------------------
const set = one("#set");
if (set) {
  const ask = newestOnly();
  const show = async () => {
    const where = "/learn?" + new URLSearchParams(new FormData(set));
    const fresh = await ask(where);
    if (!fresh) return;
    const old = one("main"), next = one("main", fresh);
    for (const part of ["#result", "#now", "section[aria-labelledby=slip]"]) one(part, old).replaceWith(one(part, next));
    say(one("#now", old).textContent);
    history.replaceState(null, "", where);
  };
  set.addEventListener("change", show);
}
