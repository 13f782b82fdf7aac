// What the page's editor takes from its libraries. build.py makes ../files/editor.js of it; nothing of ours is in there.
export {
  acceptCompletion, autocompletion, closeBrackets, closeBracketsKeymap, completionKeymap, pickedCompletion, startCompletion,
} from "@codemirror/autocomplete";
export { defaultKeymap, indentWithTab } from "@codemirror/commands";
export { yaml } from "@codemirror/lang-yaml";
export { HighlightStyle, indentUnit, syntaxHighlighting } from "@codemirror/language";
export { forEachDiagnostic, lintGutter, nextDiagnostic, previousDiagnostic, setDiagnostics } from "@codemirror/lint";
export { search, searchKeymap } from "@codemirror/search";
export { Annotation, EditorState, Prec, StateEffect, StateField } from "@codemirror/state";
export { Decoration, EditorView, highlightActiveLine, hoverTooltip, keymap, lineNumbers } from "@codemirror/view";
export { tags } from "@lezer/highlight";
