// Validates every bundle in a folder with the JSON schema of FHIR R4, by a
// validator of other authors. Arguments: folder of whole bundles, folder of
// broken ones, of which some must be refused: a schema sees forms, not rules.
const fs = require('fs')
const path = require('path')
const Validator = require('@asymmetrik/fhir-json-schema-validator')

const validator = new Validator()
const check = folder => fs.readdirSync(folder).filter(f => f.endsWith('.json')).sort().map(f => ({
  name: f,
  errors: validator.validate(JSON.parse(fs.readFileSync(path.join(folder, f), 'utf8')), true)
}))

const whole = check(process.argv[2])
const failed = whole.filter(x => x.errors.length > 0)
for (const x of failed.slice(0, 5)) {
  console.log(x.name + ': ' + JSON.stringify(x.errors.slice(0, 3)))
}
console.log(`JSON schema: ${whole.length - failed.length} bundles passed, ${failed.length} failed`)
const refused = check(process.argv[3]).filter(x => x.errors.length > 0)
console.log(`JSON schema: ${refused.length} of the broken bundles refused`)
process.exit(whole.length === 0 || failed.length > 0 || refused.length === 0 ? 1 : 0)
