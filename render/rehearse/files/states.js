// The states of this sitting: undo and redo, and any earlier one brought back.

import { on, send } from "./link.js";
import { step } from "./changes.js";
import { find, made, tell } from "./dom.js";

const button = (words, label, act) => {
  const made_ = made("button", { type: "button", disabled: true, ariaLabel: label }, words);
  made_.addEventListener("click", act);
  return made_;
};

const undo = button("Undo", "undo the last change", () => step("undo"));
const redo = button("Redo", "redo the change that was taken back", () => step("redo"));
const list = made("ol", { reversed: true });
const earlier = made("details", {}, made("summary", {}, made("h2", {}, "Earlier states")), list);
find("transport").append(made("div", { className: "undoing" }, undo, redo)); // where they are always seen
const kept = made("p", { className: "small" });
find("states").append(earlier, kept);

on("hello", ({ plan }) => {
  kept.textContent = `Each change is saved in ${plan} at once.`;
});

on("saved", ({ number, states, undo: can, redo: again, faults = [] }) => {
  undo.disabled = !can;
  redo.disabled = !again;
  list.replaceChildren(...[...states].reverse().map((state) => item(state, number)));
  refused(faults);
});

function item({ number, at, said }, now) {
  const time = new Date(at * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
  const words = made("span", {}, said || "as it was opened");
  if (number === now) return made("li", { value: number + 1, className: "now", ariaCurrent: "true" }, words, made("span", { className: "small" }, ` ${time}, now`));
  const bring = made("button", { type: "button", className: "quiet", ariaLabel: `bring back state ${number + 1}: ${said}` }, "bring back");
  bring.addEventListener("click", () => send({ do: "back", to: number }));
  return made("li", { value: number + 1 }, words, made("span", { className: "small" }, ` ${time} `), bring);
}

// What is wrong with the plan as it stands: the last good reading goes on sounding.
function refused(faults) {
  find("refused")?.remove();
  if (!faults.length) return;
  const items = faults.map(({ message, line }) => made("li", {}, line != null ? `line ${line}: ${message}` : message));
  const heading = made("p", {}, "The plan cannot be read as it stands; what sounds is the last that could be.");
  document.querySelector("main").before(made("div", { id: "refused", role: "alert" }, heading, made("ul", {}, ...items)));
}

on("two", ({ ours, difference }) => {
  find("two")?.remove();
  if (ours === null) return; // somebody has chosen
  const keep = (which, words) => {
    const made_ = made("button", { type: "button" }, words);
    made_.addEventListener("click", () => {
      send({ do: "settle", keep: which });
      box.remove();
    });
    return made_;
  };
  const box = made(
    "div", { id: "two", role: "alertdialog", ariaLabel: "the file was changed elsewhere meanwhile" },
    made("p", {}, "The plan's file was changed elsewhere while it was changed here. Nothing is lost: which shall stand?"),
    made("p", { className: "small" }, "+ is what was done here, - is what the file says:"),
    made("pre", { tabIndex: 0, role: "region", ariaLabel: "the difference" }, difference.join("\n")),
    made("p", {}, keep("ours", "What was done here"), keep("theirs", "What the file says")),
  );
  document.querySelector("main").before(box);
});

on("told", ({ words, excerpt }) => tell(excerpt ? `${words}: ${excerpt}` : words));
