// Every cell as HyperFormula computes it. Reads {"sheets": {name: [[content, ...], ...]}, "names": {name: formula}} from
// the standard input, a formula being a text that begins with "="; answers {"A1": value} by sheet. With "mended": true
// two functions take the place of its own (see defects.py); tests show what its own answer.
"use strict";
const { DetailedCellError, FunctionArgumentType, FunctionPlugin, HyperFormula } = require("hyperformula");
const { readFileSync } = require("fs");

// As in Excel: a blank cell that is pointed to shows 0, numbers are not rounded on the way, arrays in SUMPRODUCT.
const SETTINGS = {
  licenseKey: "gpl-v3",
  evaluateNullToZero: true,
  smartRounding: false,
  useArrayArithmetic: true,
  maxRows: 1048576,
};

const { NUMBER } = FunctionArgumentType;
const number = { argumentType: NUMBER };

class Mended extends FunctionPlugin {
  int(ast, state) {
    return this.runFunction(ast.args, state, this.metadata("INT"), Math.floor);
  }

  // How likely `hits` marked ones are in a sample, marked ones and whole given: a product of few factors for each.
  hypgeomdist(ast, state) {
    return this.runFunction(ast.args, state, this.metadata("HYPGEOMDIST"), (hits, sample, marked, whole) => {
      const choose = (from, many) => {
        let ways = many < 0 || many > from ? 0 : 1;
        for (let one = 1; one <= Math.min(many, from - many); one += 1) ways *= (from - Math.min(many, from - many) + one) / one;
        return ways;
      };
      return (choose(marked, hits) * choose(whole - marked, sample - hits)) / choose(whole, sample);
    });
  }
}
Mended.implementedFunctions = {
  INT: { method: "int", parameters: [number] },
  HYPGEOMDIST: { method: "hypgeomdist", parameters: [number, number, number, number] },
};

const { sheets, names, mended } = JSON.parse(readFileSync(0, "utf8"));
if (mended) {
  const words = { INT: "INT", HYPGEOMDIST: "HYPGEOMDIST" };
  HyperFormula.registerFunctionPlugin(Mended, { enGB: words });
}
const expressions = Object.entries(names).map(([name, expression]) => ({ name, expression }));
const engine = HyperFormula.buildFromSheets(sheets, SETTINGS, expressions);
const found = {};
for (const name of engine.getSheetNames()) {
  const sheet = engine.getSheetId(name);
  const cells = (found[name] = {});
  engine.getSheetValues(sheet).forEach((line, row) => {
    line.forEach((value, col) => {
      if (value === null) return;
      const address = engine.simpleCellAddressToString({ sheet, row, col }, sheet);
      cells[address] = value instanceof DetailedCellError ? { error: `${value.value} ${value.message}`.trim() } : value;
    });
  });
}
process.stdout.write(JSON.stringify(found));
