package fhir

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/note"
)

func (b *builder) person(p note.Person) reference {
	if !slices.Contains(b.people, p) {
		b.people = append(b.people, p)
	}
	return b.ref(fmt.Sprintf("person/%d", slices.Index(b.people, p)))
}

func (b *builder) persons() []entry {
	out := make([]entry, len(b.people))
	for i, p := range b.people {
		path := fmt.Sprintf("person/%d", i)
		r := practitioner{ResourceType: "Practitioner", ID: b.id(path)}
		if p.Name != "" {
			r.Name = []humanName{{p.Name}}
		}
		if p.Credentials != "" {
			r.Qualification = []qualification{{concept{Text: p.Credentials}}}
		}
		out[i] = entry{"urn:uuid:" + b.id(path), r}
	}
	return out
}

// identifierTypes are codes of HL7 v2 table 0203 for kinds that have one.
var identifierTypes = map[string]coding{
	"record number":         {identifierType, "MR", "Medical record number"},
	"medical record number": {identifierType, "MR", "Medical record number"},
	"visit number":          {identifierType, "VN", "Visit number"},
}

// birthKinds are kinds of identifiers that are the date of birth.
var birthKinds = []string{"born", "date of birth", "birth date"}

func (b *builder) patient() {
	p := patient{ResourceType: "Patient", ID: b.id("patient")}
	for _, id := range b.doc.Head.Identifiers {
		switch {
		case id.Value == "":
			continue
		case id.Kind == note.NameKind:
			p.Name = append(p.Name, humanName{id.Value})
			continue
		case slices.Contains(birthKinds, id.Kind) && isDate(id.Value):
			p.BirthDate = id.Value
		}
		one := identifier{Type: &concept{Text: id.Kind}, Value: id.Value}
		if c, ok := identifierTypes[id.Kind]; ok {
			one.Type.Coding = []coding{c}
		}
		p.Identifier = append(p.Identifier, one)
	}
	if b.doc.Head.Identifiers == ([2]note.Identifier{}) {
		p.Text = lines("The patient's identifiers are not stated.")
	}
	b.add("patient", p)
}

func isDate(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

// Kinds of a device's versions: what made the draft, part by part.
const (
	versionProgram  = "program"
	versionEngine   = "speech engine"
	versionModel    = "model"
	versionModelSum = "model sha256"
	versionPack     = "pack "
)

func (b *builder) device() {
	p := b.doc.Draft.Provenance
	name, _, _ := strings.Cut(p.Program, " ")
	if name == "" {
		name = "bedsaid"
	}
	d := device{ResourceType: "Device", ID: b.id("device"), DeviceName: []deviceName{{name, "user-friendly-name"}}}
	for _, v := range [][2]string{{versionProgram, p.Program}, {versionEngine, p.Engine}, {versionModel, p.Model}, {versionModelSum, p.ModelSHA256}} {
		if v[1] != "" {
			d.Version = append(d.Version, deviceVersion{concept{Text: v[0]}, v[1]})
		}
	}
	for _, k := range p.Packs {
		d.Version = append(d.Version, deviceVersion{concept{Text: versionPack + k.Name}, k.Version + " sha256 " + k.SHA256})
	}
	b.add("device", d)
}

// provenance says who made the draft and when, and what the reviewer did with
// each finding.
func (b *builder) provenance() {
	p := b.doc.Draft.Provenance
	recorded := p.DraftedAt
	if recorded.IsZero() {
		recorded = b.doc.Head.EnteredAt
	}
	made := provenance{
		ResourceType: "Provenance", ID: b.id("provenance"), Target: []reference{b.ref("composition")},
		OccurredDateTime: instantOrNone(p.RecordedAt), Recorded: instant(recorded), Activity: activity("CREATE", "drafted from what was said"),
		Agent: []agent{{&concept{Coding: []coding{{agentType, "assembler", "Assembler"}}}, b.ref("device")}},
	}
	b.add("provenance", made)
	for i, d := range b.doc.Decisions {
		path := fmt.Sprintf("decision/%d", i)
		target := b.ref("composition")
		if to, ok := b.find(d); ok {
			target = b.ref(to)
		}
		at := d.At
		if at.IsZero() {
			at = b.doc.Head.EnteredAt
		}
		who := b.ref("device")
		if d.By != (note.Person{}) {
			who = b.person(d.By)
		}
		b.add(path, provenance{
			ResourceType: "Provenance", ID: b.id(path), Target: []reference{target}, Recorded: instant(at),
			Activity: activity(operations[d.Kind], d.Kind.String()),
			Agent:    []agent{{&concept{Coding: []coding{{agentType, "verifier", "Verifier"}}}, who}},
			Extension: []extension{parts(urlDecision, with(extension{URL: "kind", ValueCode: d.Kind.String()}, stringPart("finding", d.Finding),
				extension{URL: "side", ValueCode: d.Side.String()}, stringPart("zone", d.Zone), stringPart("was", d.Was))...)},
		})
	}
}

// operations are codes of HL7 v3 DataOperation; a confirmation changes no data
// and has none.
var operations = map[note.DecisionKind]string{note.Corrected: "UPDATE", note.Added: "CREATE", note.Removed: "DELETE"}

func activity(code, text string) *concept {
	if code == "" {
		return &concept{Text: text}
	}
	return &concept{Coding: []coding{{System: dataOperation, Code: code}}, Text: text}
}
