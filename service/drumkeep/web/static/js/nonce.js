// BokehJS inserts <style> elements; the page's policy lets in only those that carry its nonce.
(() => {
  const nonce = document.currentScript.nonce;
  const plain = Document.prototype.createElement;
  Document.prototype.createElement = function createElement(name, ...rest) {
    const made = plain.call(this, name, ...rest);
    if (String(name).toLowerCase() === "style") made.nonce = nonce;
    return made;
  };
})();
