// The editor of the plan's text: what is typed, marked and told in it. What it is about, text.js knows.
import {
  acceptCompletion, Annotation, autocompletion, closeBrackets, closeBracketsKeymap, completionKeymap, Decoration,
  defaultKeymap, EditorState, EditorView, forEachDiagnostic, highlightActiveLine, HighlightStyle, hoverTooltip, indentUnit, indentWithTab,
  keymap, lineNumbers, lintGutter, nextDiagnostic, pickedCompletion, Prec, previousDiagnostic, search, searchKeymap,
  setDiagnostics, startCompletion, StateEffect, StateField, syntaxHighlighting, tags, yaml,
} from "./editor.js";
import { choices, told } from "./completing.js";
import { edits } from "./edits.js";

const SEVERITIES = { error: "error", caution: "warning", advice: "info", accepted: "hint" };
const fromOutside = Annotation.define();
const markEntry = StateEffect.define();

// The lines of the entry that is selected, here or in the music.
const entryMark = StateField.define({
  create: () => Decoration.none,
  update(marks, change) {
    let now = marks.map(change.changes);
    for (const effect of change.effects) if (effect.is(markEntry)) now = entryMarks(effect.value, change.state);
    return now;
  },
  provide: (field) => EditorView.decorations.from(field),
});

function entryMarks(span, state) {
  if (!span || span.to > state.doc.length || span.from >= span.to) return Decoration.none;
  const [first, last] = [state.doc.lineAt(span.from).number, state.doc.lineAt(span.to).number];
  const rows = Array.from({ length: last - first + 1 }, (_, row) => state.doc.line(first + row).from);
  const marks = rows.map((row) => Decoration.line({ class: "cm-entryLine" }).range(row));
  return Decoration.set([...marks, Decoration.mark({ class: "cm-entry" }).range(span.from, span.to)], true);
}

// Put an editor into `parent`. `acts` are what it calls: typed(), moved(place), undo(), redo(), left(), and vocabulary()
// which it asks; answers what text.js needs of a writer.
export function editor(parent, acts, nonce) {
  const view = new EditorView({ parent, state: EditorState.create({ doc: "", extensions: extensions(acts, nonce) }) });
  return {
    text: () => view.state.doc.toString(),
    put(text, shown) {
      const changes = edits(view.state.doc.toString(), text);
      if (!changes.length) return;
      const done = view.state.changes(changes);
      const place = done.mapPos(changes.at(-1).to, 1);
      const there = shown && view.hasFocus ? { selection: { anchor: place }, scrollIntoView: true } : {};
      view.dispatch({ changes: done, annotations: fromOutside.of(true), ...there });
    },
    remark(remarks) {
      view.dispatch(setDiagnostics(view.state, remarks.map(diagnostic)));
    },
    mark(span, there) {
      const selection = there && span ? { selection: { anchor: span.from } } : {};
      view.dispatch({ effects: markEntry.of(span), annotations: fromOutside.of(true), ...selection });
      if (there && span) show(view, span.from);
    },
    remarkAt: (place) => remarkAt(view.state, place),
    focus: () => view.focus(),
  };
}

// Scroll to a place within the editor alone: who touches the music wants to go on seeing it.
function show(view, place) {
  const { top, bottom } = view.lineBlockAt(place);
  const { scrollDOM: scroller } = view;
  if (top < scroller.scrollTop || bottom > scroller.scrollTop + scroller.clientHeight) scroller.scrollTop = top - scroller.clientHeight / 3;
}

function diagnostic({ from, to, severity, message, act }) {
  return { from, to, severity: SEVERITIES[severity] ?? "info", message, actions: act ? [{ name: act.name, apply: act.done }] : [] };
}

// What there is to say of a place: of several remarks the narrowest.
function remarkAt(state, place) {
  let found = null;
  forEachDiagnostic(state, ({ message }, from, to) => {
    if (from <= place && place <= to && (!found || to - from < found.width)) found = { message, width: to - from };
  });
  return found?.message ?? null;
}

function spoken(view) {
  const words = remarkAt(view.state, view.state.selection.main.head);
  if (words) view.dispatch({ effects: EditorView.announce.of(words) });
  return true;
}

function extensions(acts, nonce) {
  const now = (act) => () => {
    act();
    return true;
  };
  const keys = [
    { key: "Mod-z", run: now(acts.undo), preventDefault: true },
    { key: "Mod-Shift-z", run: now(acts.redo), preventDefault: true },
    { key: "Mod-y", run: now(acts.redo), preventDefault: true },
    { key: "Tab", run: acceptCompletion },
    { key: "F8", run: (view) => nextDiagnostic(view) && spoken(view) },
    { key: "Shift-F8", run: (view) => previousDiagnostic(view) && spoken(view) },
  ];
  return [
    EditorView.cspNonce.of(nonce),
    Prec.high(keymap.of(keys)),
    keymap.of([...closeBracketsKeymap, ...completionKeymap, ...searchKeymap, ...defaultKeymap, indentWithTab]),
    EditorView.domEventHandlers({ beforeinput: (event) => beforeInput(event, acts), blur: () => acts.left() }),
    yaml(), indentUnit.of("  "), EditorState.tabSize.of(2), EditorView.lineWrapping, lineNumbers(), highlightActiveLine(),
    closeBrackets(), search({ top: true }), lintGutter(), entryMark,
    autocompletion({ override: [(context) => completion(context, acts)], icons: false, maxRenderedOptions: 60 }),
    hoverTooltip((view, place) => hovered(view, place, acts)),
    EditorView.contentAttributes.of({
      tabindex: "0", // what scrolls has something in it that takes the focus
      "aria-label": "The plan's text", "aria-describedby": "text-help", spellcheck: "false", autocapitalize: "off",
    }),
    EditorView.updateListener.of((update) => heard(update, acts)),
    theme, syntaxHighlighting(colours),
  ];
}

// A menu or a gesture that takes back: it is the sitting's undo too.
function beforeInput(event, acts) {
  const act = { historyUndo: acts.undo, historyRedo: acts.redo }[event.inputType];
  if (!act) return false;
  event.preventDefault();
  act();
  return true;
}

function heard(update, acts) {
  const outside = update.transactions.some((each) => each.annotation(fromOutside));
  if (update.docChanged && !outside) acts.typed();
  if (update.selectionSet && !outside) acts.moved(update.state.selection.main.head);
}

// -- completion

function completion(context, acts) {
  const vocabulary = acts.vocabulary();
  const text = context.state.doc.toString();
  const found = vocabulary && choices(vocabulary, text, context.pos);
  if (!found) return null;
  const before = text.slice(text.lastIndexOf("\n", context.pos - 1) + 1, context.pos);
  if (!context.explicit && !found.word && !/[{[,]\s*$|[{,][^{}[\],:]*:\s+$/.test(before)) return null; // not at every new line
  const offered = found.choices.filter((each) => context.explicit || !found.word || !/^\d/.test(each.label));
  return { from: found.from, options: offered.map((each, row) => option(each, row, found.to)) };
}

function option(choice, row, to) {
  const more = choice.key ? null : choice.label !== choice.apply && !choice.apply.startsWith("[") ? "entry" : null;
  return {
    label: choice.label, sortText: String(row).padStart(4, "0"), detail: more, info: choice.help, boost: choice.rank,
    apply: (view, completed, from, until) => {
      const insert = choice.apply.replace(/[⟨⟩]/g, "");
      const [begin, end] = [choice.apply.indexOf("⟨"), choice.apply.indexOf("⟩") - 1];
      const selection = begin < 0 ? { anchor: from + insert.length } : { anchor: from + begin, head: from + end };
      const changes = { from, to: Math.max(to, until), insert };
      view.dispatch({ changes, selection, userEvent: "input.complete", annotations: pickedCompletion.of(completed) });
      if (choice.key) startCompletion(view);
    },
  };
}

function hovered(view, place, acts) {
  const vocabulary = acts.vocabulary();
  const said = vocabulary && /\S/.test(view.state.sliceDoc(place, place + 1)) && told(vocabulary, view.state.doc.toString(), place);
  if (!said) return null;
  return {
    pos: place, above: true,
    create() {
      const dom = document.createElement("div");
      const key = dom.appendChild(document.createElement("b"));
      key.textContent = said.key;
      dom.append(` ${said.help}`);
      dom.className = "cm-told";
      return { dom };
    },
  };
}

// -- its look: ink on paper, in the colours of the page

const colours = HighlightStyle.define([
  { tag: [tags.definition(tags.propertyName), tags.propertyName], color: "var(--text-key, var(--reading-a))" },
  { tag: tags.comment, color: "var(--faint)", fontStyle: "italic" },
  { tag: [tags.string, tags.content, tags.attributeValue], color: "var(--ink)" },
  { tag: [tags.separator, tags.punctuation, tags.squareBracket, tags.brace, tags.meta], color: "var(--faint)" },
]);

const line = "1px solid var(--rule)";
const theme = EditorView.theme({
  "&": { backgroundColor: "var(--paper)", color: "var(--ink)", border: "1px solid var(--edge)", borderRadius: "3px" },
  "&.cm-focused": { outline: "2px solid var(--ink)", outlineOffset: "2px" },
  ".cm-scroller": { fontFamily: "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace", fontSize: ".875rem", lineHeight: "1.55", maxHeight: "70vh" },
  ".cm-content": { caretColor: "var(--ink)", paddingBlock: ".5rem", minHeight: "8rem" },
  ".cm-line": { paddingLeft: "calc(4ch + 6px)", textIndent: "-4ch" },
  ".cm-gutters": { backgroundColor: "var(--paper)", color: "var(--faint)", borderRight: line },
  ".cm-activeLine": { backgroundColor: "transparent" },
  "&.cm-focused .cm-activeLine": { backgroundColor: "var(--wash)" },
  ".cm-entryLine": { boxShadow: "inset 3px 0 0 var(--text-key, var(--reading-a))" },
  ".cm-entry": { backgroundColor: "var(--wash)" },
  ".cm-tooltip": { backgroundColor: "var(--raised)", color: "var(--ink)", border: "1px solid var(--edge)", borderRadius: "3px" },
  ".cm-told": { padding: ".3rem .6rem", maxWidth: "26rem", font: "400 .9375rem/1.4 'Source Serif Pro', Georgia, serif" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul": { fontFamily: "inherit", maxHeight: "15em" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul > li": { padding: ".2rem .6rem" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul > li[aria-selected]": { backgroundColor: "var(--ink)", color: "var(--paper)" },
  ".cm-completionDetail": { fontStyle: "italic", marginLeft: ".8em" },
  ".cm-completionMatchedText": { textDecoration: "none", fontWeight: "700" },
  ".cm-tooltip.cm-completionInfo": { padding: ".3rem .6rem", font: "400 .9375rem/1.4 'Source Serif Pro', Georgia, serif" },
  ".cm-gutter-lint": { width: "1.2em" },
  ".cm-lint-marker": { width: ".7em", height: ".7em", margin: ".25em 0 0 .1em", content: "none", boxSizing: "border-box" },
  ".cm-lint-marker-error": { backgroundColor: "var(--caution)" },
  ".cm-lint-marker-warning": { border: "2px solid var(--caution)", borderRadius: "50%" },
  ".cm-lint-marker-info": { borderBottom: "2px solid var(--edge)" },
  ".cm-lintRange": { backgroundImage: "none", textDecorationLine: "underline", textDecorationThickness: "2px", textUnderlineOffset: "3px" },
  ".cm-lintRange-error": { textDecorationColor: "var(--caution)", textDecorationStyle: "solid" },
  ".cm-lintRange-warning": { textDecorationColor: "var(--caution)", textDecorationStyle: "dashed" },
  ".cm-lintRange-info, .cm-lintRange-hint": { textDecorationColor: "var(--edge)", textDecorationStyle: "dotted" },
  ".cm-lintRange-active": { backgroundColor: "var(--wash)" },
  ".cm-diagnostic": { padding: ".4rem .6rem", maxWidth: "30rem", font: "400 .9375rem/1.4 'Source Serif Pro', Georgia, serif" },
  ".cm-diagnostic-error, .cm-diagnostic-warning": { borderLeft: "4px solid var(--caution)" },
  ".cm-diagnostic-info, .cm-diagnostic-hint": { borderLeft: "4px solid var(--edge)" },
  ".cm-diagnosticAction": {
    display: "block", margin: ".4rem 0 0", minHeight: "32px", padding: ".1rem .7rem", border: "1px solid var(--edge)",
    backgroundColor: "var(--paper)", color: "var(--ink)", borderRadius: "3px",
  },
  ".cm-panels": { backgroundColor: "var(--raised)", color: "var(--ink)" },
  ".cm-panels.cm-panels-top": { borderBottom: line },
  ".cm-textfield, .cm-button": {
    backgroundColor: "var(--paper)", backgroundImage: "none", color: "var(--ink)", border: "1px solid var(--edge)", borderRadius: "3px",
  },
  ".cm-searchMatch": { backgroundColor: "transparent", outline: "1px solid var(--edge)" },
  ".cm-searchMatch-selected": { outline: "2px solid var(--ink)" },
});
