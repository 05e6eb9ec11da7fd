// Inserts and deletes whole rows in HyperFormula. Reads {"sheets": {name: [[content, ...], ...]}, "names": {name: formula},
// "sequences": [[{"do", "sheet", "first", "rows"}, ...], ...]} from the standard input, a formula being a text that begins
// with "="; answers a line for each sequence, each from the untouched workbook: {"cells", "errors", "formulas", "names"}
// as `after_steps` in tests/support/uno_worker.py has them.
"use strict";
const { DetailedCellError, FunctionArgumentType, FunctionPlugin, HyperFormula } = require("hyperformula");
const { readFileSync } = require("fs");

// As in Excel: a blank cell that is pointed to shows 0, numbers are not rounded on the way.
const SETTINGS = {
  licenseKey: "gpl-v3",
  evaluateNullToZero: true,
  smartRounding: false,
  useArrayArithmetic: true,
  maxRows: 1048576,
};

// Its own INT cuts towards zero: -2 of -2.5, where every spreadsheet has -3.
class Mended extends FunctionPlugin {
  int(ast, state) {
    return this.runFunction(ast.args, state, this.metadata("INT"), Math.floor);
  }
}
Mended.implementedFunctions = { INT: { method: "int", parameters: [{ argumentType: FunctionArgumentType.NUMBER }] } };
HyperFormula.registerFunctionPlugin(Mended, { enGB: { INT: "INT" } });

const { sheets, names, sequences } = JSON.parse(readFileSync(0, "utf8"));
const expressions = Object.entries(names).map(([name, expression]) => ({ name, expression }));
const engine = HyperFormula.buildFromSheets(sheets, SETTINGS, expressions);

function take(step) {
  const change = step.do === "add" ? "addRows" : "removeRows";
  engine[change](engine.getSheetId(step.sheet), [step.first - 1, step.rows]);
}

function shown() {
  const answer = { cells: {}, errors: {}, formulas: {}, names: {} };
  for (const name of engine.getSheetNames()) {
    const sheet = engine.getSheetId(name);
    const errors = {};
    answer.cells[name] = engine.getSheetValues(sheet).map((line, row) =>
      line.map((value, col) => {
        if (!(value instanceof DetailedCellError)) return value === null ? "" : value;
        errors[engine.simpleCellAddressToString({ sheet, row, col }, sheet)] = `${value.value} ${value.message}`.trim();
        return null;
      }),
    );
    answer.errors[name] = errors;
    answer.formulas[name] = engine
      .getSheetFormulas(sheet)
      .flatMap((line, row) => line.flatMap((text, column) => (text === undefined ? [] : [[column, row, column, row]])));
  }
  for (const { name, expression } of engine.getAllNamedExpressionsSerialized()) answer.names[name] = String(expression);
  return answer;
}

for (const steps of sequences) {
  steps.forEach(take);
  process.stdout.write(`${JSON.stringify(shown())}\n`);
  steps.forEach(() => engine.undo());
}
