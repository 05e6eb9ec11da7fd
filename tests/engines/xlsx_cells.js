// Every cell of a workbook as xlsx reads it: {sheet: {"A1": {"value": ...} or {"formula": ..., "value": ...}}}.
"use strict";
const { readFile } = require("xlsx");

const ERRORS = { 0: "#NULL!", 7: "#DIV/0!", 15: "#VALUE!", 23: "#REF!", 29: "#NAME?", 36: "#NUM!", 42: "#N/A" };

// xlsx leaves out a formula cell without a stored result unless it is asked for stubs.
const workbook = readFile(process.argv[2], { cellFormula: true, cellDates: false, sheetStubs: true });
const found = {};
for (const name of workbook.SheetNames) {
  const cells = (found[name] = {});
  for (const [address, cell] of Object.entries(workbook.Sheets[name])) {
    if (address.startsWith("!")) continue;
    const value = cell.t === "e" ? { error: ERRORS[cell.v] || cell.v } : cell.v === undefined ? null : cell.v;
    if (cell.f !== undefined) cells[address] = { formula: cell.f, value };
    else if (value !== null) cells[address] = { value };
  }
}
process.stdout.write(JSON.stringify(found));
