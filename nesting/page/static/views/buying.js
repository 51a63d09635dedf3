/** @type {import("../main.js").ViewSpec} */
export const buying = { name: "buying", title: "buying", docs: [], mount: () => ({ draw: () => {} }) };
