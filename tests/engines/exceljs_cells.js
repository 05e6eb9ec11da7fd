// Every cell of a workbook as exceljs reads it: {sheet: {"A1": {"value": ...} or {"formula": ..., "value": ...}}}.
"use strict";
const { Workbook } = require("exceljs");

const DAY = 86400000;
const EPOCH = 25569; // the day number of 1970-01-01

// A date as its day number; a moment has whole milliseconds, so a time of day may be 6e-9 days off.
function plain(value) {
  if (value instanceof Date) return { day: value.getTime() / DAY + EPOCH };
  if (value && value.error) return { error: value.error };
  if (value && value.richText) return value.richText.map((part) => part.text).join("");
  return value === undefined ? null : value;
}

async function main(path) {
  const workbook = new Workbook();
  // exceljs keeps one rule for each cell of a range: a million of them for a rule down to the end of a column.
  await workbook.xlsx.readFile(path, { ignoreNodes: ["dataValidations"] });
  const found = {};
  workbook.eachSheet((sheet) => {
    const cells = (found[sheet.name] = {});
    sheet.eachRow((row) => {
      row.eachCell((cell) => {
        cells[cell.address] = cell.formula
          ? { formula: cell.formula, value: plain(cell.result) }
          : { value: plain(cell.value) };
      });
    });
  });
  process.stdout.write(JSON.stringify(found));
}

main(process.argv[2]).catch((error) => {
  process.stderr.write(`${error.stack}\n`);
  process.exit(1);
});
