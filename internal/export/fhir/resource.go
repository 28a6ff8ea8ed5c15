package fhir

import "encoding/json"

// The parts of FHIR R4 (4.0.1) that a note needs, with the elements in the
// order of the specification. A pointer, or omitempty, is an element that may be
// absent; all else is required.

type bundle struct {
	ResourceType string      `json:"resourceType"`
	ID           string      `json:"id"`
	Identifier   *identifier `json:"identifier"`
	Type         string      `json:"type"`
	Timestamp    string      `json:"timestamp"`
	Entry        []entry     `json:"entry"`
}

type entry struct {
	FullURL  string `json:"fullUrl"`
	Resource any    `json:"resource"`
}

type composition struct {
	ResourceType string      `json:"resourceType"`
	ID           string      `json:"id"`
	Text         *narrative  `json:"text,omitempty"`
	Extension    []extension `json:"extension,omitempty"`
	Identifier   *identifier `json:"identifier,omitempty"`
	Status       string      `json:"status"`
	Type         concept     `json:"type"`
	Subject      reference   `json:"subject"`
	Date         string      `json:"date"`
	Author       []reference `json:"author"`
	Title        string      `json:"title"`
	Attester     []attester  `json:"attester,omitempty"`
	RelatesTo    []relatesTo `json:"relatesTo,omitempty"`
	Event        []event     `json:"event,omitempty"`
	Section      []section   `json:"section,omitempty"`
}

type attester struct {
	Extension []extension `json:"extension,omitempty"`
	Mode      string      `json:"mode"`
	Time      string      `json:"time,omitempty"`
	Party     *reference  `json:"party,omitempty"`
}

type relatesTo struct {
	Code             string     `json:"code"`
	TargetIdentifier identifier `json:"targetIdentifier"`
}

type event struct {
	Period period `json:"period"`
}

type period struct {
	Start string `json:"start"`
}

type section struct {
	Extension []extension `json:"extension,omitempty"`
	Title     string      `json:"title"`
	Code      *concept    `json:"code,omitempty"`
	Text      *narrative  `json:"text,omitempty"`
	Entry     []reference `json:"entry,omitempty"`
}

type observation struct {
	ResourceType         string       `json:"resourceType"`
	ID                   string       `json:"id"`
	Text                 *narrative   `json:"text,omitempty"`
	Extension            []extension  `json:"extension,omitempty"`
	Status               string       `json:"status"`
	Category             []concept    `json:"category"`
	Code                 concept      `json:"code"`
	Subject              reference    `json:"subject"`
	EffectiveDateTime    string       `json:"effectiveDateTime,omitempty"`
	Performer            []reference  `json:"performer,omitempty"`
	ValueQuantity        *quantity    `json:"valueQuantity,omitempty"`
	ValueCodeableConcept *concept     `json:"valueCodeableConcept,omitempty"`
	ValueInteger         *int         `json:"valueInteger,omitempty"`
	ValueRange           *valueRange  `json:"valueRange,omitempty"`
	DataAbsentReason     *concept     `json:"dataAbsentReason,omitempty"`
	Interpretation       []concept    `json:"interpretation,omitempty"`
	Note                 []annotation `json:"note,omitempty"`
	BodySite             *concept     `json:"bodySite,omitempty"`
	Method               *concept     `json:"method,omitempty"`
	HasMember            []reference  `json:"hasMember,omitempty"`
	Component            []component  `json:"component,omitempty"`
}

type component struct {
	Code          concept   `json:"code"`
	ValueQuantity *quantity `json:"valueQuantity,omitempty"`
	ValueString   string    `json:"valueString,omitempty"`
}

type quantity struct {
	Value  json.Number `json:"value"`
	Unit   string      `json:"unit,omitempty"`
	System string      `json:"system,omitempty"`
	Code   string      `json:"code,omitempty"`
}

type valueRange struct {
	Low  quantity `json:"low"`
	High quantity `json:"high"`
}

type patient struct {
	ResourceType string       `json:"resourceType"`
	ID           string       `json:"id"`
	Text         *narrative   `json:"text,omitempty"`
	Identifier   []identifier `json:"identifier,omitempty"`
	Name         []humanName  `json:"name,omitempty"`
	BirthDate    string       `json:"birthDate,omitempty"`
}

type practitioner struct {
	ResourceType  string          `json:"resourceType"`
	ID            string          `json:"id"`
	Name          []humanName     `json:"name,omitempty"`
	Qualification []qualification `json:"qualification,omitempty"`
}

type qualification struct {
	Code concept `json:"code"`
}

type humanName struct {
	Text string `json:"text"`
}

type device struct {
	ResourceType string          `json:"resourceType"`
	ID           string          `json:"id"`
	DeviceName   []deviceName    `json:"deviceName"`
	Version      []deviceVersion `json:"version,omitempty"`
}

type deviceName struct {
	Name string `json:"name"`
	Type string `json:"type"`
}

type deviceVersion struct {
	Type  concept `json:"type"`
	Value string  `json:"value"`
}

type provenance struct {
	ResourceType     string      `json:"resourceType"`
	ID               string      `json:"id"`
	Extension        []extension `json:"extension,omitempty"`
	Target           []reference `json:"target"`
	OccurredDateTime string      `json:"occurredDateTime,omitempty"`
	Recorded         string      `json:"recorded"`
	Activity         *concept    `json:"activity,omitempty"`
	Agent            []agent     `json:"agent"`
}

type agent struct {
	Type *concept  `json:"type,omitempty"`
	Who  reference `json:"who"`
}

type documentReference struct {
	ResourceType string      `json:"resourceType"`
	ID           string      `json:"id"`
	Status       string      `json:"status"`
	DocStatus    string      `json:"docStatus"`
	Type         *concept    `json:"type,omitempty"`
	Subject      reference   `json:"subject"`
	Date         string      `json:"date"`
	Author       []reference `json:"author"`
	Description  string      `json:"description"`
	Content      []content   `json:"content"`
}

type content struct {
	Attachment attachment `json:"attachment"`
}

type attachment struct {
	ContentType string `json:"contentType"`
	Language    string `json:"language,omitempty"`
	Data        []byte `json:"data"`
	Hash        []byte `json:"hash"`
	Title       string `json:"title"`
	Creation    string `json:"creation,omitempty"`
}

type concept struct {
	Coding []coding `json:"coding,omitempty"`
	Text   string   `json:"text,omitempty"`
}

type coding struct {
	System  string `json:"system"`
	Code    string `json:"code"`
	Display string `json:"display,omitempty"`
}

type identifier struct {
	Type   *concept `json:"type,omitempty"`
	System string   `json:"system,omitempty"`
	Value  string   `json:"value"`
}

type reference struct {
	Reference string `json:"reference"`
	Display   string `json:"display,omitempty"`
}

type narrative struct {
	Status string `json:"status"`
	Div    string `json:"div"`
}

type annotation struct {
	Text string `json:"text"`
}

type extension struct {
	Extension    []extension  `json:"extension,omitempty"`
	URL          string       `json:"url"`
	ValueCode    string       `json:"valueCode,omitempty"`
	ValueDecimal *json.Number `json:"valueDecimal,omitempty"`
	ValueInteger *int         `json:"valueInteger,omitempty"`
	ValueString  string       `json:"valueString,omitempty"`
	ValueInstant string       `json:"valueInstant,omitempty"`
}
