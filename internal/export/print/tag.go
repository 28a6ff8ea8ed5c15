package print

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"
)

// tag adds the structure tree to a finished PDF by an incremental update (ISO
// 32000-1, 7.5.6): the library that lays pages out marks content and cannot say
// what it is. The update holds the catalog and the pages anew, with the tree
// (14.7) that names each paragraph, heading and figure in reading order.
func tag(pdf []byte, tree []element, pages int) ([]byte, error) {
	p, err := parsePDF(pdf, pages)
	if err != nil {
		return nil, err
	}
	u := update{b: bytes.NewBuffer(bytes.Clone(pdf)), next: p.size, at: map[int]int{}}
	root, document, parents := u.reserve(), u.reserve(), u.reserve()
	elements := make([]int, len(tree))
	byMark := make([]map[int]int, pages) // page, marked content: its element
	for i := range byMark {
		byMark[i] = map[int]int{}
	}
	for i, e := range tree {
		elements[i] = u.reserve()
		for _, m := range e.marks {
			byMark[m.page][m.id] = elements[i]
		}
	}
	u.object(root, fmt.Sprintf("<</Type /StructTreeRoot /K [%d 0 R] /ParentTree %d 0 R /ParentTreeNextKey %d>>", document, parents, pages))
	u.object(document, fmt.Sprintf("<</Type /StructElem /S /Document /P %d 0 R /K [%s]>>", root, refs(elements)))
	var nums strings.Builder
	for page, of := range byMark {
		list := make([]int, len(of))
		for id, el := range of {
			if id >= len(list) {
				return nil, errors.New("tag pdf: marked content is not numbered in a row")
			}
			list[id] = el
		}
		fmt.Fprintf(&nums, "%d [%s] ", page, refs(list))
	}
	u.object(parents, "<</Nums ["+strings.TrimSpace(nums.String())+"]>>")
	for i, e := range tree {
		var kids []string
		for _, m := range e.marks {
			kids = append(kids, fmt.Sprintf("<</Type /MCR /Pg %d 0 R /MCID %d>>", p.pages[m.page].number, m.id))
		}
		alt := ""
		if e.alt != "" {
			alt = " /Alt " + textString(e.alt)
		}
		u.object(elements[i], fmt.Sprintf("<</Type /StructElem /S /%s /P %d 0 R%s /K [%s]>>", e.role, document, alt, strings.Join(kids, " ")))
	}
	for i, page := range p.pages {
		u.object(page.number, inDict(page.dict, fmt.Sprintf("/StructParents %d /Tabs /S", i)))
	}
	u.object(p.catalog.number, inDict(p.catalog.dict, fmt.Sprintf("/Version /1.7 /MarkInfo <</Marked true>> /StructTreeRoot %d 0 R /ViewerPreferences <</DisplayDocTitle true>>", root)))
	return u.finish(p), nil
}

func refs(numbers []int) string {
	parts := make([]string, len(numbers))
	for i, n := range numbers {
		parts[i] = fmt.Sprintf("%d 0 R", n)
	}
	return strings.Join(parts, " ")
}

// textString is text as PDF keeps it: UTF-16 with its mark, in hex.
func textString(s string) string {
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	return b.String() + ">"
}

// inDict puts entries before the end of a dictionary.
func inDict(dict, entries string) string {
	return strings.TrimSuffix(strings.TrimSpace(dict), ">>") + " " + entries + ">>"
}

type object struct {
	number int
	dict   string
}

type parsedPDF struct {
	size, info, startXref int
	catalog               object
	pages                 []object
}

var (
	trailerAt = regexp.MustCompile(`(?s)trailer\s*<<(.*?)>>\s*startxref\s+(\d+)\s+%%EOF\s*$`)
	sizeOf    = regexp.MustCompile(`/Size (\d+)`)
	rootOf    = regexp.MustCompile(`/Root (\d+) 0 R`)
	infoOf    = regexp.MustCompile(`/Info (\d+) 0 R`)
	kidsOf    = regexp.MustCompile(`/Kids \[([^\]]*)\]`)
	refOf     = regexp.MustCompile(`(\d+) 0 R`)
)

// parsePDF reads what the pinned layout library wrote: a classic table of
// objects, the page tree in one node. Anything else is an error.
func parsePDF(pdf []byte, pages int) (parsedPDF, error) {
	var p parsedPDF
	end := pdf[max(0, len(pdf)-1024):]
	m := trailerAt.FindSubmatch(end)
	if m == nil {
		return p, errors.New("tag pdf: no trailer at the end")
	}
	p.startXref, _ = strconv.Atoi(string(m[2]))
	number := func(re *regexp.Regexp) int {
		if n := re.FindSubmatch(m[1]); n != nil {
			v, _ := strconv.Atoi(string(n[1]))
			return v
		}
		return -1
	}
	p.size, p.info = number(sizeOf), number(infoOf)
	offsets, err := readXref(pdf, p.startXref, p.size)
	if err != nil {
		return p, err
	}
	read := func(n int) (object, error) {
		if n <= 0 || n >= len(offsets) || offsets[n] >= len(pdf) {
			return object{}, errors.New("tag pdf: an object is missing")
		}
		text := pdf[offsets[n]:]
		head := fmt.Sprintf("%d 0 obj", n)
		end := bytes.Index(text, []byte("endobj"))
		if !bytes.HasPrefix(text, []byte(head)) || end < 0 {
			return object{}, errors.New("tag pdf: an object is not where the table says")
		}
		return object{n, strings.TrimSpace(string(text[len(head):end]))}, nil
	}
	if p.catalog, err = read(number(rootOf)); err != nil {
		return p, err
	}
	tree, err := read(1)
	if err != nil {
		return p, err
	}
	kids := kidsOf.FindStringSubmatch(tree.dict)
	if kids == nil {
		return p, errors.New("tag pdf: no list of pages")
	}
	for _, r := range refOf.FindAllStringSubmatch(kids[1], -1) {
		n, _ := strconv.Atoi(r[1])
		page, err := read(n)
		if err != nil {
			return p, err
		}
		p.pages = append(p.pages, page)
	}
	if len(p.pages) != pages {
		return p, fmt.Errorf("tag pdf: %d pages in the file, want %d", len(p.pages), pages)
	}
	return p, nil
}

func readXref(pdf []byte, start, size int) ([]int, error) {
	if start <= 0 || start >= len(pdf) || size <= 0 {
		return nil, errors.New("tag pdf: no table of objects")
	}
	lines := strings.Split(string(pdf[start:min(len(pdf), start+size*20+64)]), "\n")
	if len(lines) < size+2 || strings.TrimSpace(lines[0]) != "xref" || strings.TrimSpace(lines[1]) != fmt.Sprintf("0 %d", size) {
		return nil, errors.New("tag pdf: the table of objects is of another form")
	}
	out := make([]int, size)
	for i := range size {
		fields := strings.Fields(lines[2+i])
		if len(fields) != 3 {
			return nil, errors.New("tag pdf: a line of the table of objects cannot be read")
		}
		out[i], _ = strconv.Atoi(fields[0])
	}
	return out, nil
}

// update collects the objects of an incremental update.
type update struct {
	b    *bytes.Buffer
	next int
	at   map[int]int // object number: offset
	done []int
}

func (u *update) reserve() int {
	u.next++
	return u.next - 1
}

func (u *update) object(n int, body string) {
	u.at[n] = u.b.Len()
	u.done = append(u.done, n)
	fmt.Fprintf(u.b, "%d 0 obj\n%s\nendobj\n", n, body)
}

func (u *update) finish(p parsedPDF) []byte {
	start := u.b.Len()
	u.b.WriteString("xref\n")
	for _, n := range u.done {
		fmt.Fprintf(u.b, "%d 1\n%010d 00000 n \n", n, u.at[n])
	}
	fmt.Fprintf(u.b, "trailer\n<</Size %d /Root %d 0 R /Info %d 0 R /Prev %d>>\nstartxref\n%d\n%%%%EOF\n", u.next, p.catalog.number, p.info, p.startXref, start)
	return u.b.Bytes()
}
