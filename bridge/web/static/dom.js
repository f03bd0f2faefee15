// Small helpers. Names come from the owner's file, so all text goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

/** Make an HTML element. */
export function make(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** Make an SVG element. */
export function draw(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

/** Set a node's text if it differs, so that nothing is announced or laid out for no reason. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function find(id) {
  return document.getElementById(id);
}
