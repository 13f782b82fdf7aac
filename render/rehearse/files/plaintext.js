// A plain field for the plan's text, where the editor does not run. It does for text.js what the editor does.
import { edits, moved } from "./edits.js";

export function plain(parent, acts) {
  const field = parent.appendChild(document.createElement("textarea"));
  Object.assign(field, { spellcheck: false, rows: 24, className: "plain", autocapitalize: "off" });
  field.setAttribute("aria-label", "The plan's text");
  field.setAttribute("aria-describedby", "text-help");
  const list = parent.appendChild(document.createElement("ul"));
  list.className = "told-here";
  field.addEventListener("input", () => acts.typed());
  field.addEventListener("blur", () => acts.left());
  for (const kind of ["keyup", "pointerup"]) field.addEventListener(kind, () => acts.moved(field.selectionStart));
  field.addEventListener("keydown", (event) => {
    const key = event.ctrlKey || event.metaKey ? event.key.toLowerCase() : "";
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    (key === "y" || event.shiftKey ? acts.redo : acts.undo)();
  });
  let told = [];
  return {
    text: () => field.value,
    put(text) {
      const changes = edits(field.value, text);
      const [start, end, top] = [moved(field.selectionStart, changes), moved(field.selectionEnd, changes), field.scrollTop];
      field.value = text;
      field.setSelectionRange(start, end);
      field.scrollTop = top;
    },
    remark(remarks) {
      told = remarks;
      list.replaceChildren(...remarks.map((each) => {
        const item = document.createElement("li");
        item.textContent = `line ${field.value.slice(0, each.from).split("\n").length}: ${each.message}`;
        return item;
      }));
    },
    mark(span, there) {
      if (span && there && document.activeElement !== field) field.setSelectionRange(span.from, span.to);
    },
    remarkAt: (place) => told.find(({ from, to }) => from <= place && place <= to)?.message ?? null,
    focus: () => field.focus(),
  };
}
