/** @type {import("../main.js").ViewSpec} */
export const cut = { name: "cut", title: "cut", docs: [], mount: () => ({ draw: () => {} }) };
