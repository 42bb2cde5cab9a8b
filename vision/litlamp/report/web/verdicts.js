// Marks readings right, wrong or unclear, keeps the marks in this browser, and saves them as a truth file.
"use strict";
(() => {
  const sheet = JSON.parse(document.getElementById("verdict-data").textContent);
  const forms = new Map(
    [...document.querySelectorAll("fieldset[data-item]")].map((form) => [form.dataset.item, form]),
  );
  const complete = document.getElementById("verdict-complete");
  const count = document.getElementById("verdict-count");
  let marks = { complete: false, items: {} };

  try {
    const kept = JSON.parse(localStorage.getItem(sheet.store));
    if (kept && typeof kept.items === "object") marks = { complete: Boolean(kept.complete), items: kept.items };
  } catch {
    // Nothing was kept, or this browser keeps nothing for pages opened from a disk.
  }

  const choiceOf = (mark) => sheet.choices.find((choice) => choice.value === mark.choice);
  const settled = (mark) => Boolean(mark) && (mark.verdict !== "wrong" || Boolean(choiceOf(mark)));

  function show() {
    for (const item of sheet.items) {
      const form = forms.get(item.key);
      const mark = marks.items[item.key];
      for (const radio of form.querySelectorAll("input[type=radio]")) {
        radio.checked = Boolean(mark) && radio.value === mark.verdict;
      }
      form.querySelector("select").value = (mark && mark.choice) || "";
      form.querySelector(".verdict-which").hidden = !(mark && mark.verdict === "wrong");
      form.querySelector(".verdict-back").hidden = !mark;
      form.dataset.verdict = mark ? mark.verdict : "";
      const said = form.querySelector(".verdict-said");
      said.textContent = mark ? words(item, mark) : "not marked";
    }
    complete.checked = marks.complete;
    const done = sheet.items.filter((item) => marks.items[item.key]);
    const open = done.filter((item) => !settled(marks.items[item.key])).length;
    count.textContent =
      `${done.length} of ${sheet.items.length} marked` + (open ? `; ${open} wrong without the right one` : "");
  }

  function words(item, mark) {
    if (mark.verdict === "right") return `right: ${item.reading}`;
    if (mark.verdict === "unclear") return "unclear";
    const choice = choiceOf(mark);
    return choice ? `wrong: it was ${choice.label}` : "wrong";
  }

  function keep() {
    try {
      localStorage.setItem(sheet.store, JSON.stringify(marks));
    } catch {
      // The marks still hold until the page is closed.
    }
    show();
  }

  function truth() {
    const lines = [];
    for (const source of sheet.sources) {
      const own = sheet.items.filter((item) => item.source === source.source);
      const marked = own.filter((item) => marks.items[item.key]);
      if (marked.length === 0) continue;
      const signals = [];
      const others = [];
      for (const item of marked) {
        const mark = marks.items[item.key];
        const choice = mark.verdict === "right" ? item.right : mark.verdict === "wrong" ? choiceOf(mark) : null;
        if (choice && choice.kind === "no signal") {
          if (item.signal) others.push({ box: item.signal.box, kind: "no signal" });
          continue;
        }
        if (!item.signal) continue; // what was missed has no place that could be told
        const signal = { ...item.signal };
        if (choice) {
          signal.rule = choice.rule;
          signal.edition = sheet.edition;
          if (choice.kind === "not lit") signal.lamps = [];
        }
        signals.push(signal);
      }
      const missed = marked.some((item) => !item.signal && marks.items[item.key].verdict !== "right");
      const whole = marks.complete && marked.length === own.length && !missed;
      lines.push({ ...source, complete: whole, signals, distractors: others });
    }
    return lines;
  }

  for (const item of sheet.items) {
    const form = forms.get(item.key);
    form.addEventListener("change", () => {
      const chosen = form.querySelector("input[type=radio]:checked");
      if (!chosen) return;
      const mark = { verdict: chosen.value };
      if (chosen.value === "wrong") mark.choice = form.querySelector("select").value;
      marks.items[item.key] = mark;
      keep();
    });
    form.querySelector(".verdict-back").addEventListener("click", () => {
      delete marks.items[item.key];
      keep();
      form.querySelector("input[type=radio]").focus();
    });
  }
  complete.addEventListener("change", () => {
    marks.complete = complete.checked;
    keep();
  });
  document.getElementById("verdict-save").addEventListener("click", () => {
    const lines = truth();
    const saved = document.getElementById("verdict-saved");
    if (lines.length === 0) {
      saved.textContent = "Mark a reading first.";
      return;
    }
    const text = lines.map((line) => JSON.stringify(line) + "\n").join("");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/x-ndjson" }));
    link.download = sheet.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    saved.textContent = `Saved as ${sheet.file}.`;
  });
  document.getElementById("verdict-bar").hidden = false;
  for (const form of forms.values()) form.hidden = false;
  show();
})();
