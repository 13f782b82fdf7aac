// Small helps for making elements. Text is only ever set as text.

export const find = (name) => document.getElementById(name);

export function made(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(properties)) {
    if (key.startsWith("aria") || key === "role") element.setAttribute(key.replace(/^aria/, "aria-").toLowerCase(), value);
    else if (key === "data") Object.assign(element.dataset, value);
    else if (value !== undefined) element[key] = value;
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

export function drawn(tag, attributes = {}) {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

export const still = matchMedia("(prefers-reduced-motion: reduce)");

const TOLD = 8000; // milliseconds that a word stands
let until = 0;

export function tell(words) {
  find("told").textContent = words;
  clearTimeout(until);
  until = setTimeout(() => (find("told").textContent = ""), TOLD);
}
