// Building elements without ever parsing text as markup.

/** An element with properties (`class`, `data-*`, `aria-*` and `on*` too) and children; text is always text. */
export function el(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  set(made, properties);
  made.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export function set(made, properties) {
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "class") made.setAttribute("class", value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  return made;
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, properties = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  set(made, properties);
  made.append(...children);
  return made;
}

export const byId = (id) => document.getElementById(id);

/** Size the canvas to its place on the screen; the context draws in CSS pixels. */
export function freshContext(canvas) {
  const scale = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
  if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
  }
  const context = canvas.getContext("2d");
  context.setTransform(scale, 0, 0, scale, 0, 0);
  context.clearRect(0, 0, width, height);
  return { context, width, height };
}
