package models

import "fmt"

// shape holds the sizes of a Whisper network, the fields of a ggml header.
type shape struct {
	vocab       int
	audioCtx    int
	audioState  int
	audioHeads  int
	audioLayers int
	textCtx     int
	textState   int
	textHeads   int
	textLayers  int
	mels        int
}

// piece is one tensor of the ggml file and where its values come from.
type piece struct {
	// name is OpenAI's name of the tensor.
	name string
	// dims are as PyTorch gives them, slowest first.
	dims []int
	// source is the CTranslate2 variable; first is the element it starts at,
	// because CTranslate2 stacks the projections of an attention.
	source string
	first  int
	// sourceRank is the number of dimensions of source.
	sourceRank int
	// exact tensors stay in single precision: vectors, biases, position tables.
	exact bool
}

func (p piece) count() int {
	n := 1
	for _, d := range p.dims {
		n *= d
	}
	return n
}

// shapeOf reads the sizes of the network from the variables' dimensions.
func shapeOf(f *ct2File) (shape, error) {
	var s shape
	for _, part := range []struct {
		name   string
		rank   int
		fields []*int
	}{
		{"decoder/embeddings/weight", 2, []*int{&s.vocab, &s.textState}},
		{"decoder/position_encodings/encodings", 2, []*int{&s.textCtx, nil}},
		{"encoder/position_encodings/encodings", 2, []*int{&s.audioCtx, &s.audioState}},
		{"encoder/conv1/weight", 3, []*int{nil, &s.mels, nil}},
	} {
		t, err := f.tensor(part.name, part.rank)
		if err != nil {
			return s, err
		}
		for i, field := range part.fields {
			if field != nil {
				*field = t.dims[i]
			}
		}
	}
	layers := func(side string) int {
		n := 0
		for {
			if _, ok := f.tensors[fmt.Sprintf("%s/layer_%d/ffn/linear_0/weight", side, n)]; !ok {
				return n
			}
			n++
		}
	}
	s.audioLayers, s.textLayers = layers("encoder"), layers("decoder")
	// Every Whisper network has heads of 64 values.
	s.audioHeads, s.textHeads = s.audioState/64, s.textState/64
	if s.audioLayers == 0 || s.textLayers == 0 || s.audioHeads == 0 || s.textHeads == 0 {
		return s, fmt.Errorf("read CTranslate2 model: layers are missing")
	}
	return s, nil
}

// layout lists the tensors in the order of OpenAI's checkpoint of the base
// model, so that the half-precision file equals the published one.
func layout(s shape) []piece {
	pieces := []piece{
		{name: "decoder.positional_embedding", dims: []int{s.textCtx, s.textState}, source: "decoder/position_encodings/encodings", sourceRank: 2, exact: true},
		{name: "encoder.positional_embedding", dims: []int{s.audioCtx, s.audioState}, source: "encoder/position_encodings/encodings", sourceRank: 2, exact: true},
		{name: "decoder.token_embedding.weight", dims: []int{s.vocab, s.textState}, source: "decoder/embeddings/weight", sourceRank: 2},
	}
	for i := range s.textLayers {
		pieces = append(pieces, block(fmt.Sprintf("decoder.blocks.%d", i), fmt.Sprintf("decoder/layer_%d", i), s.textState, true)...)
	}
	pieces = append(pieces, norm("decoder.ln", "decoder/layer_norm", s.textState)...)
	for i, in := range []int{s.mels, s.audioState} {
		name, source := fmt.Sprintf("encoder.conv%d", i+1), fmt.Sprintf("encoder/conv%d", i+1)
		pieces = append(pieces,
			piece{name: name + ".weight", dims: []int{s.audioState, in, 3}, source: source + "/weight", sourceRank: 3},
			// The engine adds this bias along time and wants it as a column.
			piece{name: name + ".bias", dims: []int{s.audioState, 1}, source: source + "/bias", sourceRank: 1, exact: true})
	}
	for i := range s.audioLayers {
		pieces = append(pieces, block(fmt.Sprintf("encoder.blocks.%d", i), fmt.Sprintf("encoder/layer_%d", i), s.audioState, false)...)
	}
	return append(pieces, norm("encoder.ln_post", "encoder/layer_norm", s.audioState)...)
}

// block lists one transformer block; decoder blocks also attend to the sound.
func block(name, source string, width int, decoder bool) []piece {
	pieces := norm(name+".mlp_ln", source+"/ffn/layer_norm", width)
	pieces = append(pieces, linear(name+".mlp.0", source+"/ffn/linear_0", 4*width, width, 0, true)...)
	pieces = append(pieces, linear(name+".mlp.2", source+"/ffn/linear_1", width, 4*width, 0, true)...)
	pieces = append(pieces, norm(name+".attn_ln", source+"/self_attention/layer_norm", width)...)
	// One variable holds query, key and value of the self-attention.
	stacked := source + "/self_attention/linear_0"
	pieces = append(pieces, linear(name+".attn.query", stacked, width, width, 0, true)...)
	pieces = append(pieces, linear(name+".attn.key", stacked, width, width, 1, false)...)
	pieces = append(pieces, linear(name+".attn.value", stacked, width, width, 2, true)...)
	pieces = append(pieces, linear(name+".attn.out", source+"/self_attention/linear_1", width, width, 0, true)...)
	if !decoder {
		return pieces
	}
	pieces = append(pieces, norm(name+".cross_attn_ln", source+"/attention/layer_norm", width)...)
	pieces = append(pieces, linear(name+".cross_attn.query", source+"/attention/linear_0", width, width, 0, true)...)
	// One variable holds key and value of the cross-attention.
	stacked = source + "/attention/linear_1"
	pieces = append(pieces, linear(name+".cross_attn.key", stacked, width, width, 0, false)...)
	pieces = append(pieces, linear(name+".cross_attn.value", stacked, width, width, 1, true)...)
	return append(pieces, linear(name+".cross_attn.out", source+"/attention/linear_2", width, width, 0, true)...)
}

// linear lists a projection: part counts which of the stacked projections of
// source it is. Whisper's keys have no bias.
func linear(name, source string, out, in, part int, bias bool) []piece {
	pieces := []piece{{name: name + ".weight", dims: []int{out, in}, source: source + "/weight", first: part * out * in, sourceRank: 2}}
	if bias {
		pieces = append(pieces, piece{name: name + ".bias", dims: []int{out}, source: source + "/bias", first: part * out, sourceRank: 1, exact: true})
	}
	return pieces
}

func norm(name, source string, width int) []piece {
	return []piece{
		{name: name + ".weight", dims: []int{width}, source: source + "/gamma", sourceRank: 1, exact: true},
		{name: name + ".bias", dims: []int{width}, source: source + "/beta", sourceRank: 1, exact: true},
	}
}
