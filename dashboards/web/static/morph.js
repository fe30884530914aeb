// Brings a part of the page up to date without disturbing what a person is writing in it.

// morph makes the inside of part that of html.
export function morph(part, html) {
  const next = document.createElement(part.localName);
  next.innerHTML = html;
  children(part, next);
}

// writing tells whether somebody is at work in a form, or has begun one.
export function writing(node) {
  return node.nodeType === Node.ELEMENT_NODE && [...(node.matches("form") ? [node] : node.querySelectorAll("form"))].some(
    (form) => form.contains(document.activeElement) || [...form.elements].some((e) => e.localName === "input" && e.value !== e.defaultValue),
  );
}

// same tells whether two nodes stand for the same thing: alarms by name, others by kind.
function same(a, b) {
  return a.nodeName === b.nodeName && a.dataset?.alarm === b.dataset?.alarm && a.dataset?.form === b.dataset?.form;
}

function children(old, next) {
  let at = old.firstChild;
  for (const wanted of [...next.childNodes]) {
    let found = at;
    while (found && !same(found, wanted)) found = found.nextSibling;
    if (!found) {
      old.insertBefore(wanted, at);
      continue;
    }
    while (at !== found) at = drop(at);
    at = found.nextSibling;
    update(found, wanted);
  }
  while (at) at = drop(at);
}

// drop removes a node in which nobody writes, and gives the next one.
function drop(node) {
  const next = node.nextSibling;
  if (!writing(node)) node.remove();
  return next;
}

function update(old, next) {
  if (old.isEqualNode(next)) return;
  if (old.nodeType !== Node.ELEMENT_NODE) {
    old.nodeValue = next.nodeValue;
    return;
  }
  if (!writing(old)) {
    old.replaceWith(next);
    return;
  }
  if (old.localName === "form") return; // stays as it is until it is sent
  for (const { name } of [...old.attributes]) if (!next.hasAttribute(name)) old.removeAttribute(name);
  for (const { name, value } of next.attributes) old.setAttribute(name, value);
  children(old, next);
}
