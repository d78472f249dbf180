// SPDX-License-Identifier: MIT
// The list of recipes: take one in from a file.

import { call, newId } from "./kitchen_api.js";
import { onSubmit } from "./forms.js";

const MOST_BYTES = 1000000;
/** @type {string|null} the same file sent twice makes one recipe */
let sentId = null;
let sentText = "";

/** @param {File} file @returns {Promise<object>} */
async function read(file) {
  if (file.size > MOST_BYTES) throw new Error(`“${file.name}” has ${Math.round(file.size / 1000)} kB; a recipe has a few. Choose the file that a recipe's page wrote.`);
  const text = await file.text();
  let said;
  try {
    said = JSON.parse(text.replace(/^\uFEFF/, ""));
  } catch (error) {
    throw new Error(`“${file.name}” is not a recipe file: it is no JSON. Choose a file that a recipe's page wrote; its name ends in .recipe.json.`);
  }
  if (!said || typeof said !== "object" || said.form !== "curdwright-recipe") {
    throw new Error(`“${file.name}” is not a recipe file: it does not say so. Choose a file that a recipe's page wrote; its name ends in .recipe.json.`);
  }
  if (said.form_version !== 1) {
    throw new Error(`“${file.name}” is of form ${said.form_version}; this program reads form 1. Export it again from a program of the same age, or bring this one up to date.`);
  }
  if (text !== sentText) sentId = newId();
  sentText = text;
  return { ...said, id: sentId };
}

onSubmit(document.getElementById("import-form"), async (form) => {
  const input = form.querySelector("input[type=file]");
  const file = input instanceof HTMLInputElement && input.files ? input.files[0] : null;
  if (!file) throw new Error("No file is chosen yet. Choose one that a recipe's page wrote.");
  const made = await call("POST", "/v1/recipes/import", await read(file));
  location.assign(`/recipes/${made.id}`);
});
