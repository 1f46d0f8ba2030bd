"use strict";
// What forms cannot do: progress as it comes, files dropped on a form, choices read at once, a page that
// follows its files on disk. Every form works without it.
let typed = false;
let following = [];
const news = document.querySelector("[data-news]");

const followed = (address, begin) => {
  const source = new EventSource(address);
  following.push(source);
  begin(source);
};

// What a page follows: commands that run, and files on disk.
const follow = () => {
  following.forEach((source) => source.close());
  following = [];
  document.querySelectorAll("[data-progress]").forEach((box) => followed(box.dataset.progress, (source) => {
    source.onmessage = (event) => { box.querySelector("[data-step]").textContent = event.data; };
    source.addEventListener("end", () => {
      source.close();
      if (!typed) { location.replace(location.pathname); } else { box.hidden = true; }
    });
  }));
  document.querySelectorAll("[data-watch]").forEach((box) => followed(box.dataset.watch, (source) => {
    source.addEventListener("changed", () => {
      source.close();
      if (typed) { box.hidden = false; } else { location.replace(location.pathname + location.hash); }
    });
  }));
};
follow();
addEventListener("input", () => { typed = true; });

// The size of a season, worked out again while one types.
document.querySelectorAll("form[data-sketch]").forEach((form) => {
  const shown = document.querySelector("[data-sketched]");
  let waiting = 0, asked = 0;
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      const own = ++asked;
      const told = await fetch(form.dataset.sketch, { method: "POST", body: new FormData(form) });
      if (told.ok && own === asked) { shown.innerHTML = await told.text(); }
    }, 300);
  });
});

// A choice is read at once: its form is sent, and the page takes the answer and stays where it is.
const readAgain = async (form) => {
  const main = document.getElementById("main");
  const here = document.activeElement === document.body ? "" : document.activeElement.id;
  const open = [...main.querySelectorAll("details[open][id]")].map((each) => each.id);
  const sides = [...main.querySelectorAll(".scroll, .scrolls")].map((each) => [each.scrollLeft, each.scrollTop]);
  following.forEach((source) => source.close());
  main.setAttribute("aria-busy", "true");
  main.inert = true;
  news.textContent = "Reading again";
  try {
    const told = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    const page = new DOMParser().parseFromString(await told.text(), "text/html").getElementById("main");
    if (told.ok) {
      main.replaceChildren(...page.childNodes);
      main.querySelectorAll(".scroll, .scrolls").forEach((each, place) => each.scrollTo(...(sides[place] ?? [0, 0])));
      open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
      news.textContent = main.querySelector("[data-read]")?.textContent ?? "";
      typed = false;
    } else {
      main.prepend(...page.querySelectorAll("[role=alert]"));
    }
  } catch {
    form.submit();  // without an answer the browser says why
  }
  main.inert = false;
  main.removeAttribute("aria-busy");
  if (here) {
    const next = form.isConnected ? null : document.querySelector("form[data-live] select, form[data-live] input:not([type=hidden])");
    (document.getElementById(here) ?? next ?? main).focus({ preventScroll: true });
  }
  follow();
};

let reading = 0;
const readSoon = (form, wait) => {
  clearTimeout(reading);
  reading = setTimeout(() => readAgain(form), wait);
};
// What belongs to one question is sent together: a season that starts has to end.
const whole = (field) => [...(field.closest("[data-question]") ?? field.parentElement).querySelectorAll("input")]
  .every((each) => each.value);
addEventListener("change", (event) => {
  const field = event.target, form = field.form;
  if (form?.dataset.live !== undefined && (field.tagName === "SELECT" || field.type === "checkbox")) {
    if (field.type === "checkbox" || whole(field)) { readSoon(form, 500); }
  }
});
addEventListener("focusout", (event) => {
  const field = event.target, form = field.form;
  if (form?.dataset.live !== undefined && field.tagName === "INPUT" && field.type !== "checkbox"
      && field.value !== field.defaultValue && field.checkValidity() && (whole(field) || field.defaultValue)) {
    setTimeout(() => { if (!form.dataset.sent) { readSoon(form, 0); } }, 150);  // a button pressed goes first
  }
});

// Files dropped anywhere on a page go to its form for files; a season without a name gets that of the first.
const forFiles = () => document.querySelector("form[data-drop]");
addEventListener("dragover", (event) => {
  if (forFiles() && event.dataTransfer.types.includes("Files")) { event.preventDefault(); forFiles().classList.add("over"); }
});
addEventListener("dragleave", (event) => { if (!event.relatedTarget) { forFiles()?.classList.remove("over"); } });
addEventListener("drop", (event) => {
  const form = forFiles();
  if (!form || !event.dataTransfer.files.length) { return; }
  event.preventDefault();
  form.classList.remove("over");
  form.querySelector("input[type=file]").files = event.dataTransfer.files;
  const name = form.querySelector("input[name=name]");
  if (name) { name.value ||= event.dataTransfer.files[0].name.replace(/\.[^.]*$/, ""); }
  if (form.reportValidity()) { form.requestSubmit(); }
});

// A second press of a button asks for nothing a second time; back again, it can be pressed.
addEventListener("submit", (event) => {
  const form = event.target;
  clearTimeout(reading);
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  following.forEach((source) => source.close());  // what the form changes is no news for the page it leaves
});
addEventListener("pageshow", (event) => {
  if (event.persisted) { follow(); }
  document.querySelectorAll("form[data-sent]").forEach((form) => { delete form.dataset.sent; });
});
